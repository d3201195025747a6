/* Small tool for checks from outside. Reads lines on stdin, answers each with one line:
     decode HEX                        -> "packet FLAGS RANGE BOOT SEQ TIME  six counts a sample"
                                          "end BOOT REQUEST OLDEST NEXT" or "bad"
     recode HEX                        -> decode, encode again, the hex of that
     ring CAPACITY BOOT RANGE          -> start a ring
     push COUNT                        -> push samples: acc x = low bits of its number, others 0
     live SIZE / fill SIZE             -> next live or backfill packet as hex, or "none"
     want BOOT SEQ COUNT / lost / erase
   Build: cc -std=c99 -o vector_check vector_check.c sensor_packet.c sensor_ring.c */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sensor_packet.h"
#include "sensor_ring.h"

#define MAX_BYTES 4096
#define PERIOD_US 1000u

static size_t from_hex(const char *text, uint8_t *out)
{
    size_t size = 0;
    unsigned value;
    while (size < MAX_BYTES && sscanf(text + 2 * size, "%2x", &value) == 1)
        out[size++] = (uint8_t)value;
    return size;
}

static void print_hex(const uint8_t *bytes, size_t size)
{
    if (size == 0)
        printf("none");
    for (size_t i = 0; i < size; i++)
        printf("%02x", bytes[i]);
    printf("\n");
}

static void show(int kind, const packet_header *head, const packet_sample *samples,
                 const packet_end *end)
{
    if (kind == 0) {
        printf("bad\n");
        return;
    }
    if (kind == 2) {
        printf("end %u %" PRIu32 " %" PRIu32 " %" PRIu32 "\n", head->boot_id, end->request_seq,
               end->oldest_seq, end->next_seq);
        return;
    }
    printf("packet %u %u %u %" PRIu32 " %" PRIu64, head->flags, head->range_code, head->boot_id,
           head->seq, head->time_us);
    for (unsigned i = 0; i < head->count; i++)
        printf(" %d %d %d %d %d %d", samples[i].acc[0], samples[i].acc[1], samples[i].acc[2],
               samples[i].gyr[0], samples[i].gyr[1], samples[i].gyr[2]);
    printf("\n");
}

int main(void)
{
    static char line[2 * MAX_BYTES + 64];
    static char hex[2 * MAX_BYTES + 1];
    static uint8_t bytes[MAX_BYTES + 2], again[MAX_BYTES];
    static packet_sample samples[255];
    packet_header head = {0};
    packet_end end = {0};
    sensor_ring ring;
    ring_entry *entries = NULL;
    unsigned a, b, c;
    memset(&ring, 0, sizeof ring);
    while (fgets(line, sizeof line, stdin) != NULL) {
        hex[0] = '\0';
        if (strncmp(line, "decode", 6) == 0) {
            sscanf(line, "decode %8192s", hex);
            size_t size = from_hex(hex, bytes);
            show(packet_decode(bytes, size, &head, samples, &end), &head, samples, &end);
        } else if (strncmp(line, "recode", 6) == 0) {
            sscanf(line, "recode %8192s", hex);
            int kind = packet_decode(bytes, from_hex(hex, bytes), &head, samples, &end);
            size_t size = 0;
            if (kind == 1)
                size = packet_encode(again, sizeof again, &head, samples);
            else if (kind == 2)
                size = packet_encode_end(again, sizeof again, &head, &end);
            print_hex(again, size);
        } else if (sscanf(line, "ring %u %u %u", &a, &b, &c) == 3 && a > 0) {
            free(entries);
            entries = calloc(a, sizeof *entries);
            if (entries == NULL)
                return 1;
            ring_init(&ring, entries, a, (uint16_t)b, (uint8_t)c);
            printf("ok\n");
        } else if (entries == NULL) {
            printf("start a ring first\n");
        } else if (sscanf(line, "push %u", &a) == 1) {
            for (unsigned i = 0; i < a; i++) {
                packet_sample sample = {{0, 0, 0}, {0, 0, 0}};
                sample.acc[0] = (int16_t)(ring.next_seq & 0x7FFFu);
                ring_push(&ring, &sample, (uint64_t)ring.next_seq * PERIOD_US, 0);
            }
            printf("ok\n");
        } else if (sscanf(line, "live %u", &a) == 1) {
            print_hex(bytes, ring_live(&ring, bytes, a));
        } else if (sscanf(line, "fill %u", &a) == 1) {
            print_hex(bytes, ring_backfill(&ring, bytes, a));
        } else if (sscanf(line, "want %u %u %u", &a, &b, &c) == 3) {
            printf("%s\n", ring_request_backfill(&ring, (uint16_t)a, b, c) ? "ok" : "full");
        } else if (strncmp(line, "lost", 4) == 0) {
            ring_restart_live(&ring);
            printf("ok\n");
        } else if (strncmp(line, "erase", 5) == 0) {
            ring_erase(&ring);
            printf("ok\n");
        } else {
            printf("unknown\n");
        }
        fflush(stdout);
    }
    free(entries);
    return 0;
}
