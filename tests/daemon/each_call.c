/* Stands between a program and the C library, and at the N-th system call that changes a file below a given place
   kills the program or lets the call fail. Loaded with LD_PRELOAD; told what to do by `each_call_arm`. */

#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <limits.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { DIE_BEFORE = -1, DIE_INSIDE = -2 }; /* what: one of these, or the number of an error */

static char below[PATH_MAX];
static atomic_long left;
static int what, on;
static atomic_int armed, met;

void each_call_arm(const char *place, long at, int do_what, int for_ever)
{
    strncpy(below, place, sizeof below - 1);
    left = at; what = do_what; on = for_ever; met = 0; armed = 1;
}

int each_call_met(void) { return met; }

static int ours(const char *path) { return armed && strstr(path, below) != NULL; }

static int ours_open(int handle)
{
    char link[64], path[PATH_MAX];
    if (!armed) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", handle);
    ssize_t size = readlink(link, path, sizeof path - 1);
    if (size < 0) return 0;
    path[size] = 0;
    return ours(path);
}

/* 0: go on; 1: half of it, then die; 2: fail. */
static int turn(void)
{
    long now = atomic_fetch_sub(&left, 1);
    if (now != 1 && !(on && now < 1)) return 0;
    met = 1;
    if (what == DIE_BEFORE) kill(getpid(), SIGKILL);
    if (what == DIE_INSIDE) return 1;
    errno = what;
    return 2;
}

#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)
#define SIMPLE(name, is_ours, ...) do { \
    REAL(name); \
    int t = is_ours ? turn() : 0; \
    if (t == 2) return -1; \
    __typeof__(real(__VA_ARGS__)) result = real(__VA_ARGS__); \
    if (t == 1) kill(getpid(), SIGKILL); \
    return result; } while (0)
#define WRITING(name, is_ours, half, ...) do { \
    REAL(name); \
    int t = is_ours ? turn() : 0; \
    if (t == 2) return -1; \
    if (t == 1) { half; kill(getpid(), SIGKILL); } \
    return real(__VA_ARGS__); } while (0)

ssize_t write(int f, const void *b, size_t n) { WRITING(write, ours_open(f), (void)!real(f, b, n / 2), f, b, n); }
ssize_t pwrite(int f, const void *b, size_t n, off_t o) { WRITING(pwrite, ours_open(f), (void)!real(f, b, n / 2, o), f, b, n, o); }
ssize_t pwrite64(int f, const void *b, size_t n, off64_t o) { WRITING(pwrite64, ours_open(f), (void)!real(f, b, n / 2, o), f, b, n, o); }
int fsync(int f) { SIMPLE(fsync, ours_open(f), f); }
int fdatasync(int f) { SIMPLE(fdatasync, ours_open(f), f); }
int ftruncate(int f, off_t n) { SIMPLE(ftruncate, ours_open(f), f, n); }
int ftruncate64(int f, off64_t n) { SIMPLE(ftruncate64, ours_open(f), f, n); }
int unlink(const char *p) { SIMPLE(unlink, ours(p), p); }
int rename(const char *p, const char *q) { SIMPLE(rename, ours(q), p, q); }
int link(const char *p, const char *q) { SIMPLE(link, ours(q), p, q); }
int linkat(int d, const char *p, int e, const char *q, int g) { SIMPLE(linkat, ours(q), d, p, e, q, g); }
int renameat2(int d, const char *p, int e, const char *q, unsigned g) { SIMPLE(renameat2, ours(q), d, p, e, q, g); }
int mkdir(const char *p, mode_t m) { SIMPLE(mkdir, ours(p), p, m); }
int rmdir(const char *p) { SIMPLE(rmdir, ours(p), p); }
