#include "sensor_packet.h"

#define ACC_RANGE_COUNT 9u
#define GYR_RANGE_COUNT 7u

static void put16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFu);
    at[1] = (uint8_t)(value >> 8);
}

static void put32(uint8_t *at, uint32_t value)
{
    put16(at, (uint16_t)(value & 0xFFFFu));
    put16(at + 2, (uint16_t)(value >> 16));
}

static uint16_t get16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)at[1] << 8);
}

static uint32_t get32(const uint8_t *at)
{
    return (uint32_t)get16(at) | (uint32_t)get16(at + 2) << 16;
}

/* Two's complement without relying on how the compiler narrows. */
static int16_t to_signed(uint16_t value)
{
    return value < 0x8000u ? (int16_t)value : (int16_t)((int32_t)value - 0x10000);
}

static int known_ranges(uint8_t code)
{
    return (code >> 4) < ACC_RANGE_COUNT && (code & 0x0Fu) < GYR_RANGE_COUNT;
}

static int write_header(uint8_t *out, const packet_header *head, uint8_t flags, uint8_t count)
{
    if (head->time_us > PACKET_TIME_MAX || head->seq > 0xFFFFFFFFu - count)
        return 0;
    out[0] = PACKET_VERSION;
    out[1] = flags;
    out[2] = count;
    out[3] = head->range_code;
    put32(out + 4, head->seq);
    put16(out + 8, head->boot_id);
    put32(out + 10, (uint32_t)(head->time_us & 0xFFFFFFFFu));
    put16(out + 14, (uint16_t)(head->time_us >> 32));
    return 1;
}

uint8_t packet_samples_that_fit(size_t payload_size)
{
    size_t count;
    if (payload_size < PACKET_HEADER_SIZE)
        return 0;
    count = (payload_size - PACKET_HEADER_SIZE) / PACKET_SAMPLE_SIZE;
    return (uint8_t)(count > 255 ? 255 : count);
}

size_t packet_encode(uint8_t *out, size_t room, const packet_header *head,
                     const packet_sample *samples)
{
    size_t size = PACKET_HEADER_SIZE + (size_t)head->count * PACKET_SAMPLE_SIZE;
    uint8_t *at = out + PACKET_HEADER_SIZE;
    if (head->count == 0 || size > room || !known_ranges(head->range_code))
        return 0;
    if (!write_header(out, head, (uint8_t)(head->flags & ~FLAG_END), head->count))
        return 0;
    for (uint8_t i = 0; i < head->count; i++) {
        for (int axis = 0; axis < 3; axis++, at += 2)
            put16(at, (uint16_t)samples[i].acc[axis]);
        for (int axis = 0; axis < 3; axis++, at += 2)
            put16(at, (uint16_t)samples[i].gyr[axis]);
    }
    return size;
}

size_t packet_encode_end(uint8_t *out, size_t room, const packet_header *head,
                         const packet_end *end)
{
    packet_header mark = *head;
    mark.seq = end->request_seq;
    if (room < PACKET_END_SIZE || !write_header(out, &mark, FLAG_REPEATED | FLAG_END, 0))
        return 0;
    put32(out + 16, end->request_seq);
    put32(out + 20, end->oldest_seq);
    put32(out + 24, end->next_seq);
    return PACKET_END_SIZE;
}

int packet_decode(const uint8_t *in, size_t size, packet_header *head, packet_sample *samples,
                  packet_end *end)
{
    const uint8_t *at = in + PACKET_HEADER_SIZE;
    if (size < PACKET_HEADER_SIZE || in[0] != PACKET_VERSION || (in[1] & 0x80u))
        return 0;
    head->flags = in[1];
    head->count = in[2];
    head->range_code = in[3];
    head->seq = get32(in + 4);
    head->boot_id = get16(in + 8);
    head->time_us = (uint64_t)get32(in + 10) | (uint64_t)get16(in + 14) << 32;
    if (head->flags & FLAG_END) {
        if (head->count != 0 || size != PACKET_END_SIZE)
            return 0;
        end->request_seq = get32(in + 16);
        end->oldest_seq = get32(in + 20);
        end->next_seq = get32(in + 24);
        return 2;
    }
    if (head->count == 0 || size != PACKET_HEADER_SIZE + (size_t)head->count * PACKET_SAMPLE_SIZE)
        return 0;
    if (!known_ranges(head->range_code) || head->seq > 0xFFFFFFFFu - head->count)
        return 0;
    for (uint8_t i = 0; i < head->count; i++) {
        for (int axis = 0; axis < 3; axis++, at += 2)
            samples[i].acc[axis] = to_signed(get16(at));
        for (int axis = 0; axis < 3; axis++, at += 2)
            samples[i].gyr[axis] = to_signed(get16(at));
    }
    return 1;
}
