/* Ring of the last samples and the answers to backfill requests. Portable C99, no allocation:
   the caller owns the memory. One context pushes samples, the same context asks for packets
   (guard with your scheduler's lock otherwise). */
#ifndef SENSOR_RING_H
#define SENSOR_RING_H

#include "sensor_packet.h"

#define RING_QUEUE 16

typedef struct {
    packet_sample sample;
    uint64_t time_us;
    uint8_t flags; /* clipped, shock, overrun of this one sample */
} ring_entry;

typedef struct {
    uint32_t seq;
    uint32_t count;
} ring_request;

typedef struct {
    ring_entry *entries;
    uint32_t capacity;
    uint32_t oldest_seq;
    uint32_t next_seq;
    uint32_t live_seq; /* first sample not yet sent live */
    uint16_t boot_id;
    uint8_t range_code;
    ring_request queue[RING_QUEUE];
    uint32_t queued;
    uint32_t cursor; /* next sample of the request being answered */
    int answering;
} sensor_ring;

void ring_init(sensor_ring *ring, ring_entry *entries, uint32_t capacity, uint16_t boot_id,
               uint8_t range_code);

/* Store one new sample; the oldest is overwritten when the ring is full. */
void ring_push(sensor_ring *ring, const packet_sample *sample, uint64_t time_us, uint8_t flags);

/* Next live packet once it is full (payload_size bytes), or 0. Samples already overwritten
   are skipped; the packet after them carries FLAG_OVERRUN. */
size_t ring_live(sensor_ring *ring, uint8_t *out, size_t payload_size);

/* Forget what was not sent live yet and the requests waiting: call when a client subscribes to
   DATA and when the link drops. Backfill fetches the samples in between. */
void ring_restart_live(sensor_ring *ring);

/* Queue a backfill request; returns 0 when the queue is full. A request of another boot gets
   an immediate end mark: count it as empty. */
int ring_request_backfill(sensor_ring *ring, uint16_t boot_id, uint32_t seq, uint32_t count);

/* Next packet of the answers, an end mark at the end of each; 0 when there is none. */
size_t ring_backfill(sensor_ring *ring, uint8_t *out, size_t payload_size);

/* Forget all samples (command ERASE). */
void ring_erase(sensor_ring *ring);

#endif
