/* Preloaded into a program, moves its clock by the nanoseconds that stand in the file named by CLOCK_FILE (eight bytes,
   shared memory, so that a test moves the clock of a program that runs). Only the time of day: what measures spans
   (CLOCK_MONOTONIC) goes on, as it does when somebody sets the clock of a machine. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#define SECOND 1000000000LL
static volatile const int64_t still = 0, *moved = &still;

__attribute__((constructor)) static void begin(void) {
    const char *name = getenv("CLOCK_FILE");
    int file = name ? open(name, O_RDONLY | O_CLOEXEC) : -1;
    void *found = file < 0 ? MAP_FAILED : mmap(NULL, sizeof still, PROT_READ, MAP_SHARED, file, 0);
    if (found == MAP_FAILED) abort(); /* or a test would strike nothing and pass */
    close(file);
    moved = found;
}

static void shift(struct timespec *at, int64_t by) {
    int64_t nanoseconds = at->tv_sec * SECOND + at->tv_nsec + by;
    at->tv_sec = nanoseconds / SECOND;
    at->tv_nsec = nanoseconds % SECOND;
}

int clock_gettime(clockid_t clock, struct timespec *at) {
    int failed = syscall(SYS_clock_gettime, clock, at);
    if (!failed && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) shift(at, *moved);
    return failed;
}

int gettimeofday(struct timeval *restrict at, void *restrict zone) {
    struct timespec found;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &found);
    at->tv_sec = found.tv_sec;
    at->tv_usec = found.tv_nsec / 1000;
    return 0;
}

time_t time(time_t *at) {
    struct timespec found;
    clock_gettime(CLOCK_REALTIME, &found);
    if (at) *at = found.tv_sec;
    return found.tv_sec;
}
