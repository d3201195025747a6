/* Sample packet of the Swingspread sensor profile, version 1. Portable C99, no allocation.
   The layout in words: ../packet.md. Licence: MIT, as the rest of the project. */
#ifndef SENSOR_PACKET_H
#define SENSOR_PACKET_H

#include <stddef.h>
#include <stdint.h>

#define PACKET_VERSION 1u
#define PACKET_HEADER_SIZE 16u
#define PACKET_SAMPLE_SIZE 12u
#define PACKET_END_SIZE 28u
#define PACKET_TIME_MAX 0xFFFFFFFFFFFFull

enum packet_flag {
    FLAG_ACC_CLIPPED = 0x01,
    FLAG_GYR_CLIPPED = 0x02,
    FLAG_SHOCK = 0x04,
    FLAG_OVERRUN = 0x08,
    FLAG_REPEATED = 0x10,
    FLAG_END = 0x20,
    FLAG_LOW_BATTERY = 0x40
};

typedef struct {
    int16_t acc[3]; /* counts */
    int16_t gyr[3];
} packet_sample;

typedef struct {
    uint8_t flags;
    uint8_t count;
    uint8_t range_code;
    uint16_t boot_id;
    uint32_t seq;     /* number of the first sample since start */
    uint64_t time_us; /* sensor time of the first sample, 48 bits are sent */
} packet_header;

typedef struct {
    uint32_t request_seq;
    uint32_t oldest_seq;
    uint32_t next_seq;
} packet_end;

/* Samples that fit a notification of this many bytes (ATT MTU less 3). */
uint8_t packet_samples_that_fit(size_t payload_size);

/* Write a packet; returns its size, 0 when it does not fit or a field is out of range. */
size_t packet_encode(uint8_t *out, size_t room, const packet_header *head,
                     const packet_sample *samples);

/* Write the mark that closes a backfill answer; returns its size or 0. */
size_t packet_encode_end(uint8_t *out, size_t room, const packet_header *head,
                         const packet_end *end);

/* Read a packet or an end mark. samples must hold 255. Returns 1 for samples, 2 for an end
   mark, 0 for bytes that are neither. */
int packet_decode(const uint8_t *in, size_t size, packet_header *head, packet_sample *samples,
                  packet_end *end);

#endif
