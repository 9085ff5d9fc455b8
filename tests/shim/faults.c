/* Faults of a disk on purpose: preloaded into a server by the tests, this lets the n-th write, flush, or making of room
 * fail for files whose path begins with SCIONARY_FAULTS_PATH, or the n-th allocation that a range of code asks for
 * (SCIONARY_FAULTS_CODE=FROM-TO, offsets in hexadecimal). SCIONARY_FAULTS is a file of four numbers of 64 bits that the
 * test writes while the server runs: which kinds fail (0 write, 1 flush, 2 room, 3 allocation; -1 none), how many go
 * well before the first that fails, how many fail from there on, and how many have failed. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <link.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/uio.h>
#include <unistd.h>

struct control { _Atomic int64_t kind, well, fail, struck; };
enum { WRITE, FLUSH, ROOM, ALLOCATION };

static struct control none = { -1, 0, 0, 0 };
static struct control *control = &none;
static const char *path;
static uintptr_t from, to;

extern void *__libc_malloc(size_t);
extern void *__libc_realloc(void *, size_t);

static int first_object(struct dl_phdr_info *info, size_t size, void *base) {
    (void)size;
    *(uintptr_t *)base = info->dlpi_addr;
    return 1;
}

__attribute__((constructor)) static void begin(void) {
    const char *name = getenv("SCIONARY_FAULTS"), *code = getenv("SCIONARY_FAULTS_CODE");
    path = getenv("SCIONARY_FAULTS_PATH");
    if (!name || !path) return;
    if (code) {
        uintptr_t base = 0;
        unsigned long low = 0, high = 0;
        dl_iterate_phdr(first_object, &base);
        if (sscanf(code, "%lx-%lx", &low, &high) == 2) from = base + low, to = base + high;
    }
    int file = open(name, O_RDWR);
    void *shared = mmap(0, sizeof none, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    if (shared != MAP_FAILED) control = shared;
}

/* Whether this one fails. */
static int strikes(int kind) {
    if (control->kind != kind) return 0;
    if (atomic_fetch_sub(&control->well, 1) > 0) return 0;
    if (atomic_fetch_sub(&control->fail, 1) <= 0) return 0;
    atomic_fetch_add(&control->struck, 1);
    return 1;
}

static int ours(int fd) {
    char link[40], name[4096];
    if (control->kind < 0 || !path) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, name, sizeof name - 1);
    if (length < 0) return 0;
    name[length] = 0;
    return strncmp(name, path, strlen(path)) == 0;
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define FAILS(fd, kind, why) if (ours(fd) && strikes(kind)) { errno = why; return -1; }

ssize_t write(int fd, const void *from, size_t n) { FAILS(fd, WRITE, ENOSPC) return REAL(write)(fd, from, n); }
ssize_t pwrite(int fd, const void *from, size_t n, off_t at) { FAILS(fd, WRITE, ENOSPC) return REAL(pwrite)(fd, from, n, at); }
ssize_t pwrite64(int fd, const void *from, size_t n, off64_t at) { FAILS(fd, WRITE, ENOSPC) return REAL(pwrite64)(fd, from, n, at); }
int fsync(int fd) { FAILS(fd, FLUSH, EIO) return REAL(fsync)(fd); }
int fdatasync(int fd) { FAILS(fd, FLUSH, EIO) return REAL(fdatasync)(fd); }
int ftruncate(int fd, off_t n) { FAILS(fd, ROOM, ENOSPC) return REAL(ftruncate)(fd, n); }
int ftruncate64(int fd, off64_t n) { FAILS(fd, ROOM, ENOSPC) return REAL(ftruncate64)(fd, n); }
int posix_fallocate(int fd, off_t at, off_t n) { if (ours(fd) && strikes(ROOM)) return ENOSPC; return REAL(posix_fallocate)(fd, at, n); }

static int asked_by(void *caller) { return (uintptr_t)caller >= from && (uintptr_t)caller < to; }

void *malloc(size_t n) {
    if (asked_by(__builtin_return_address(0)) && strikes(ALLOCATION)) { errno = ENOMEM; return 0; }
    return __libc_malloc(n);
}
void *realloc(void *was, size_t n) {
    if (asked_by(__builtin_return_address(0)) && strikes(ALLOCATION)) { errno = ENOMEM; return 0; }
    return __libc_realloc(was, n);
}
