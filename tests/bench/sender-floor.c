/*
 * The floor for senders, and the source of the receiving benchmark: as little as C needs to send one multicast stream.
 *
 *   sender-floor GROUP PORT IFINDEX PAYLOAD SECONDS PPS MODE
 *
 * MODE flood: sendmmsg of 64 with only the sequence number changed, as fast as it goes (PPS is ignored).
 *      paced: one packet at each due time, clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME) in between.
 *      feed: whole test packets (run id 0123456789abcdef, stream 1) at PPS, in batches of at most 64, spinning in between.
 * Prints one line of JSON.
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <sched.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>

#define BATCH 64

static uint32_t crc_table[256];
static uint32_t crc32_of(const uint8_t *bytes, int length) {
  uint32_t crc = 0xffffffff;
  for (int i = 0; i < length; i++) crc = (crc >> 8) ^ crc_table[(crc ^ bytes[i]) & 0xff];
  return ~crc;
}
static void put(uint8_t *at, uint64_t value, int bytes) {
  for (int i = bytes - 1; i >= 0; i--, value >>= 8) at[i] = value & 0xff;
}
static int64_t now_ns(clockid_t clock) {
  struct timespec t;
  clock_gettime(clock, &t);
  return t.tv_sec * 1000000000LL + t.tv_nsec;
}
static double cpu_seconds(void) {
  struct rusage u;
  getrusage(RUSAGE_SELF, &u);
  return u.ru_utime.tv_sec + u.ru_stime.tv_sec + (u.ru_utime.tv_usec + u.ru_stime.tv_usec) / 1e6;
}
static int ascending(const void *a, const void *b) {
  int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
  return x < y ? -1 : x > y;
}

int main(int argc, char **argv) {
  if (argc != 8) return 2;
  int payload = atoi(argv[4]);
  double seconds = atof(argv[5]), pps = atof(argv[6]);
  int is_flood = !strcmp(argv[7], "flood"), is_paced = !strcmp(argv[7], "paced");
  for (uint32_t i = 0; i < 256; i++) {
    uint32_t c = i;
    for (int k = 0; k < 8; k++) c = c & 1 ? (c >> 1) ^ 0xedb88320 : c >> 1;
    crc_table[i] = c;
  }
  prctl(PR_SET_TIMERSLACK, 1);
  if (is_flood || is_paced) { /* the same as the agent's source gets, where it may; the feed spins and must not */
    struct sched_param priority = {.sched_priority = 1};
    sched_setscheduler(0, SCHED_RR, &priority);
  }
  int fd = socket(AF_INET, SOCK_DGRAM, 0);
  struct ip_mreqn mreqn = {.imr_ifindex = atoi(argv[3])};
  setsockopt(fd, IPPROTO_IP, IP_MULTICAST_IF, &mreqn, sizeof mreqn);
  int size = 1 << 20;
  setsockopt(fd, SOL_SOCKET, SO_SNDBUFFORCE, &size, sizeof size);
  struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons(atoi(argv[2]))};
  inet_pton(AF_INET, argv[1], &to.sin_addr);
  if (connect(fd, (struct sockaddr *)&to, sizeof to) < 0) return perror("connect"), 1;

  static struct mmsghdr messages[BATCH];
  static struct iovec iovecs[BATCH];
  uint8_t *packets = calloc(BATCH, payload);
  for (int i = 0; i < BATCH; i++) {
    uint8_t *p = packets + (size_t)i * payload;
    memcpy(p, "dyet", 4);
    p[4] = 1;
    put(p + 6, payload, 2);
    put(p + 8, 0x0123456789abcdefULL, 8);
    put(p + 16, 1, 4);
    put(p + 20, 7, 4);
    put(p + 40, pps > 0 ? 1e9 / pps : 0, 4);
    p[44] = 1;
    iovecs[i] = (struct iovec){p, payload};
    messages[i].msg_hdr.msg_iov = &iovecs[i];
    messages[i].msg_hdr.msg_iovlen = 1;
  }
  double interval = pps > 0 ? 1e9 / pps : 0;
  int64_t *late = calloc(is_paced ? (size_t)(seconds * pps) + BATCH : 1, sizeof *late);
  int64_t sent = 0, errors = 0, samples = 0;
  double cpu = cpu_seconds();
  int64_t start = now_ns(CLOCK_MONOTONIC) + 10000000, end = start + (int64_t)(seconds * 1e9), now = start;
  for (;;) {
    int count = BATCH;
    if (is_flood) {
      if (now >= end) break;
      now = now_ns(CLOCK_MONOTONIC);
    } else {
      int64_t due = start + (int64_t)(sent * interval);
      if (due >= end) break;
      if (is_paced) {
        struct timespec t = {due / 1000000000, due % 1000000000};
        clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, NULL);
        now = now_ns(CLOCK_MONOTONIC);
        count = 1;
        late[samples++] = now - due;
      } else {
        while ((now = now_ns(CLOCK_MONOTONIC)) < due) {}
        count = (int)((now - due) / interval) + 1;
        if (count > BATCH) count = BATCH;
      }
    }
    int64_t wall = is_flood ? 0 : now_ns(CLOCK_REALTIME);
    for (int i = 0; i < count; i++) {
      uint8_t *p = iovecs[i].iov_base;
      put(p + 24, sent + i, 8);
      if (is_flood) continue;
      put(p + 32, wall, 8);
      put(p + 48, crc32_of(p, 48), 4);
    }
    int taken = sendmmsg(fd, messages, count, 0);
    if (taken < 0) errors++;
    else sent += taken;
  }
  double elapsed = (now_ns(CLOCK_MONOTONIC) - start) / 1e9;
  cpu = cpu_seconds() - cpu;
  printf("{\"sent\":%lld,\"errors\":%lld,\"seconds\":%.6f,\"cpuSeconds\":%.6f", (long long)sent, (long long)errors, elapsed, cpu);
  if (samples > 0) {
    qsort(late, samples, sizeof *late, ascending);
    printf(",\"pacing\":{\"p50Ns\":%lld,\"p99Ns\":%lld,\"p999Ns\":%lld,\"maxNs\":%lld}", (long long)late[samples / 2],
           (long long)late[samples * 99 / 100], (long long)late[samples * 999 / 1000], (long long)late[samples - 1]);
  }
  puts("}");
}
