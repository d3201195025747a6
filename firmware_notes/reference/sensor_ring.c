#include "sensor_ring.h"

static const ring_entry *entry(const sensor_ring *ring, uint32_t seq)
{
    return &ring->entries[seq % ring->capacity];
}

void ring_init(sensor_ring *ring, ring_entry *entries, uint32_t capacity, uint16_t boot_id,
               uint8_t range_code)
{
    ring->entries = entries;
    ring->capacity = capacity;
    ring->oldest_seq = ring->next_seq = ring->live_seq = 0;
    ring->boot_id = boot_id;
    ring->range_code = range_code;
    ring->queued = 0;
    ring->cursor = 0;
    ring->answering = 0;
}

void ring_push(sensor_ring *ring, const packet_sample *sample, uint64_t time_us, uint8_t flags)
{
    ring_entry *slot = &ring->entries[ring->next_seq % ring->capacity];
    slot->sample = *sample;
    slot->time_us = time_us;
    slot->flags = flags;
    ring->next_seq++;
    if (ring->next_seq - ring->oldest_seq > ring->capacity)
        ring->oldest_seq = ring->next_seq - ring->capacity;
}

/* Packet of the samples first to first + count - 1, all held. */
static size_t pack(const sensor_ring *ring, uint8_t *out, size_t room, uint32_t first,
                   uint8_t count, uint8_t flags)
{
    packet_sample samples[255];
    packet_header head;
    head.flags = flags;
    head.count = count;
    head.range_code = ring->range_code;
    head.boot_id = ring->boot_id;
    head.seq = first;
    head.time_us = entry(ring, first)->time_us;
    for (uint8_t i = 0; i < count; i++) {
        samples[i] = entry(ring, first + i)->sample;
        head.flags |= entry(ring, first + i)->flags;
    }
    return packet_encode(out, room, &head, samples);
}

size_t ring_live(sensor_ring *ring, uint8_t *out, size_t payload_size)
{
    uint8_t count = packet_samples_that_fit(payload_size);
    uint8_t flags = 0;
    size_t size;
    if (count == 0)
        return 0;
    if (ring->live_seq < ring->oldest_seq) {
        ring->live_seq = ring->oldest_seq;
        flags = FLAG_OVERRUN;
    }
    if (ring->next_seq - ring->live_seq < count)
        return 0;
    size = pack(ring, out, payload_size, ring->live_seq, count, flags);
    ring->live_seq += count;
    return size;
}

void ring_restart_live(sensor_ring *ring)
{
    ring->live_seq = ring->next_seq;
    ring->queued = 0;
    ring->answering = 0;
}

int ring_request_backfill(sensor_ring *ring, uint16_t boot_id, uint32_t seq, uint32_t count)
{
    if (ring->queued == RING_QUEUE)
        return 0;
    ring->queue[ring->queued].seq = seq;
    ring->queue[ring->queued].count = boot_id == ring->boot_id ? count : 0;
    ring->queued++;
    return 1;
}

static size_t finish_request(sensor_ring *ring, uint8_t *out, size_t room)
{
    packet_header head = {0};
    packet_end end;
    head.range_code = ring->range_code;
    head.boot_id = ring->boot_id;
    head.time_us = ring->next_seq > ring->oldest_seq ? entry(ring, ring->next_seq - 1)->time_us : 0;
    end.request_seq = ring->queue[0].seq;
    end.oldest_seq = ring->oldest_seq;
    end.next_seq = ring->next_seq;
    for (uint32_t i = 1; i < ring->queued; i++)
        ring->queue[i - 1] = ring->queue[i];
    ring->queued--;
    ring->answering = 0;
    return packet_encode_end(out, room, &head, &end);
}

size_t ring_backfill(sensor_ring *ring, uint8_t *out, size_t payload_size)
{
    uint32_t last, left;
    uint8_t count = packet_samples_that_fit(payload_size);
    size_t size;
    if (ring->queued == 0 || count == 0)
        return 0;
    if (!ring->answering) {
        ring->answering = 1;
        ring->cursor = ring->queue[0].seq;
    }
    if (ring->cursor < ring->oldest_seq)
        ring->cursor = ring->oldest_seq;
    last = ring->queue[0].count > 0xFFFFFFFFu - ring->queue[0].seq
               ? 0xFFFFFFFFu
               : ring->queue[0].seq + ring->queue[0].count;
    if (last > ring->next_seq)
        last = ring->next_seq;
    if (ring->cursor >= last)
        return finish_request(ring, out, payload_size);
    left = last - ring->cursor;
    if (left < count)
        count = (uint8_t)left;
    size = pack(ring, out, payload_size, ring->cursor, count, FLAG_REPEATED);
    ring->cursor += count;
    return size;
}

void ring_erase(sensor_ring *ring)
{
    ring->oldest_seq = ring->live_seq = ring->next_seq;
    ring->queued = 0;
    ring->answering = 0;
}
