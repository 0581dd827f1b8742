/*
 * The floor for listeners: recvmmsg of 64, count, look for the gap to the sequence number before. No measuring.
 *
 *   listener-floor GROUP PORT IFINDEX SECONDS
 *
 * Prints "ready" once it has joined, then one line of JSON after SECONDS, or half a second after the last packet.
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <poll.h>
#include <sched.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <time.h>

#define BATCH 64
#define SLOT 2048

static double cpu_seconds(void) {
  struct rusage u;
  getrusage(RUSAGE_SELF, &u);
  return u.ru_utime.tv_sec + u.ru_stime.tv_sec + (u.ru_utime.tv_usec + u.ru_stime.tv_usec) / 1e6;
}
static double now_seconds(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec + t.tv_nsec / 1e9;
}

int main(int argc, char **argv) {
  if (argc != 5) return 2;
  struct sched_param priority = {.sched_priority = 1}; /* the same as the agent's listener gets, where it may */
  sched_setscheduler(0, SCHED_RR, &priority);
  int fd = socket(AF_INET, SOCK_DGRAM, 0), one = 1, size = 4 << 20;
  setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
  if (setsockopt(fd, SOL_SOCKET, SO_RCVBUFFORCE, &size, sizeof size) < 0)
    setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &size, sizeof size);
  struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons(atoi(argv[2]))};
  inet_pton(AF_INET, argv[1], &at.sin_addr);
  if (bind(fd, (struct sockaddr *)&at, sizeof at) < 0) return perror("bind"), 1;
  struct ip_mreqn join = {.imr_multiaddr = at.sin_addr, .imr_ifindex = atoi(argv[3])};
  if (setsockopt(fd, IPPROTO_IP, IP_ADD_MEMBERSHIP, &join, sizeof join) < 0) return perror("join"), 1;
  static uint8_t packets[BATCH][SLOT];
  static struct mmsghdr messages[BATCH];
  static struct iovec iovecs[BATCH];
  for (int i = 0; i < BATCH; i++) {
    iovecs[i] = (struct iovec){packets[i], SLOT};
    messages[i].msg_hdr.msg_iov = &iovecs[i];
    messages[i].msg_hdr.msg_iovlen = 1;
  }
  puts("ready");
  fflush(stdout);
  int64_t received = 0, missing = 0, next = -1;
  double cpu = cpu_seconds(), end = now_seconds() + atof(argv[4]), last = 0;
  while (now_seconds() < end) {
    struct pollfd wait = {.fd = fd, .events = POLLIN};
    if (poll(&wait, 1, 50) == 0) {
      if (last > 0 && now_seconds() - last > 0.5) break;
      continue;
    }
    int taken = recvmmsg(fd, messages, BATCH, MSG_DONTWAIT, NULL);
    if (taken < 0) continue;
    for (int i = 0; i < taken; i++) {
      int64_t seq = 0;
      for (int b = 0; b < 8; b++) seq = seq << 8 | packets[i][24 + b];
      if (next >= 0 && seq > next) missing += seq - next;
      next = seq + 1;
    }
    received += taken;
    last = now_seconds();
  }
  printf("{\"received\":%lld,\"missing\":%lld,\"cpuSeconds\":%.6f}\n", (long long)received, (long long)missing,
         cpu_seconds() - cpu);
}
