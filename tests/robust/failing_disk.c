/* A disk that fails: what changes files below a folder fails from some call on, or once.
 *
 * The library goes before the C library (LD_PRELOAD), so that it reaches what SQLite, Arrow and
 * Python write themselves. It is told what to do, and tells what it did, through a file that all
 * processes map: `struct orders`, which disk.py knows by the same name.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

struct orders {
    int32_t on;       /* 0: let everything through, and count nothing */
    int32_t nth;      /* the call that fails first, from 1; 0: none does */
    int32_t error;    /* what it fails with */
    int32_t for_good; /* 1: all calls after it fail as well */
    int32_t calls;    /* so many there were */
    int32_t failed;   /* so many of them failed */
    char folder[4096];
};

static struct orders *orders;

__attribute__((constructor)) static void read_orders(void) {
    const char *name = getenv("FAILING_DISK");
    int file = name ? open(name, O_RDWR | O_CLOEXEC) : -1;
    if (file < 0) return;
    void *mapped = mmap(NULL, sizeof *orders, PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
    if (mapped != MAP_FAILED) orders = mapped;
    close(file);
}

static int below(const char *path) {
    size_t length = strlen(orders->folder);
    return strncmp(path, orders->folder, length) == 0 &&
           (path[length] == '/' || path[length] == '\0');
}

static int file_below(int file) {
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = '\0';
    return below(path);
}

static int name_below(int folder, const char *name) {
    char path[PATH_MAX];
    if (name[0] == '/') return below(name);
    if (folder != AT_FDCWD) return file_below(folder);
    return getcwd(path, sizeof path) != NULL && below(path);
}

/* Count a call, and tell whether it fails. */
static int fails(void) {
    int32_t call = __atomic_add_fetch(&orders->calls, 1, __ATOMIC_SEQ_CST);
    if (orders->nth == 0 || call < orders->nth) return 0;
    if (call > orders->nth && !orders->for_good) return 0;
    __atomic_add_fetch(&orders->failed, 1, __ATOMIC_SEQ_CST);
    errno = orders->error;
    return 1;
}

/* A disk that is full still lets files be deleted. */
static int frees(void) { return orders->error == ENOSPC; }

static int file_fails(int file) { return orders && orders->on && file_below(file) && fails(); }

static int name_fails(int folder, const char *name) {
    return orders && orders->on && name_below(folder, name) && fails();
}

static int end_fails(int folder, const char *name) {
    return orders && orders->on && !frees() && name_below(folder, name) && fails();
}

/* Before it is full, a disk takes part of what is written to it. */
static size_t part_of(size_t size) {
    int last = orders && orders->error == ENOSPC && orders->calls == orders->nth;
    return last ? size / 2 : 0;
}

#define REAL(name)                                                 \
    static __typeof__(&name) real;                                 \
    if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t write(int file, const void *data, size_t size) {
    REAL(write);
    if (!file_fails(file)) return real(file, data, size);
    return part_of(size) ? real(file, data, part_of(size)) : -1;
}

#define PWRITE(name, offset_t)                                                 \
    ssize_t name(int file, const void *data, size_t size, offset_t at) {       \
        REAL(name);                                                            \
        if (!file_fails(file)) return real(file, data, size, at);              \
        return part_of(size) ? real(file, data, part_of(size), at) : -1;       \
    }
PWRITE(pwrite, off_t)
PWRITE(pwrite64, off64_t)

ssize_t writev(int file, const struct iovec *parts, int count) {
    REAL(writev);
    return file_fails(file) ? -1 : real(file, parts, count);
}

#define PWRITEV(name, offset_t)                                                \
    ssize_t name(int file, const struct iovec *parts, int count, offset_t at) { \
        REAL(name);                                                            \
        return file_fails(file) ? -1 : real(file, parts, count, at);           \
    }
PWRITEV(pwritev, off_t)
PWRITEV(pwritev64, off64_t)

#define SENDFILE(name, offset_t)                                       \
    ssize_t name(int out, int in, offset_t *at, size_t size) {         \
        REAL(name);                                                    \
        return file_fails(out) ? -1 : real(out, in, at, size);         \
    }
ssize_t sendfile(int, int, off_t *, size_t);
ssize_t sendfile64(int, int, off64_t *, size_t);
SENDFILE(sendfile, off_t)
SENDFILE(sendfile64, off64_t)

ssize_t copy_file_range(int in, off64_t *from, int out, off64_t *to, size_t size, unsigned flags) {
    REAL(copy_file_range);
    return file_fails(out) ? -1 : real(in, from, out, to, size, flags);
}

#define SYNC(name)                                     \
    int name(int file) {                               \
        REAL(name);                                    \
        return file_fails(file) ? -1 : real(file);     \
    }
SYNC(fsync)
SYNC(fdatasync)

#define TRUNCATE(name, offset_t)                                   \
    int name(int file, offset_t size) {                            \
        REAL(name);                                                \
        return file_fails(file) ? -1 : real(file, size);           \
    }
TRUNCATE(ftruncate, off_t)
TRUNCATE(ftruncate64, off64_t)

#define ALLOCATE(name, offset_t)                                           \
    int name(int file, offset_t from, offset_t size) {                     \
        REAL(name);                                                        \
        return file_fails(file) ? orders->error : real(file, from, size);  \
    }
ALLOCATE(posix_fallocate, off_t)
ALLOCATE(posix_fallocate64, off64_t)

#define MODE                                       \
    mode_t mode = 0;                                           \
    if (flags & O_CREAT || (flags & O_TMPFILE) == O_TMPFILE) { \
        va_list more;                                          \
        va_start(more, flags);                                 \
        mode = va_arg(more, mode_t);                           \
        va_end(more);                                          \
    }
#define OPEN(name)                                                                         \
    int name(const char *path, int flags, ...) {                                           \
        REAL(name);                                                                        \
        MODE                                                                               \
        return (flags & O_CREAT) && name_fails(AT_FDCWD, path) ? -1 : real(path, flags, mode); \
    }
#define OPENAT(name)                                                                       \
    int name(int folder, const char *path, int flags, ...) {                               \
        REAL(name);                                                                        \
        MODE                                                                               \
        return (flags & O_CREAT) && name_fails(folder, path) ? -1                          \
                                                             : real(folder, path, flags, mode); \
    }
OPEN(open)
OPEN(open64)
OPENAT(openat)
OPENAT(openat64)

int mkdir(const char *path, mode_t mode) {
    REAL(mkdir);
    return name_fails(AT_FDCWD, path) ? -1 : real(path, mode);
}

int rename(const char *from, const char *to) {
    REAL(rename);
    return name_fails(AT_FDCWD, to) ? -1 : real(from, to);
}

int renameat(int from_folder, const char *from, int to_folder, const char *to) {
    REAL(renameat);
    return name_fails(to_folder, to) ? -1 : real(from_folder, from, to_folder, to);
}

int unlink(const char *path) {
    REAL(unlink);
    return end_fails(AT_FDCWD, path) ? -1 : real(path);
}

int unlinkat(int folder, const char *path, int flags) {
    REAL(unlinkat);
    return end_fails(folder, path) ? -1 : real(folder, path, flags);
}

int rmdir(const char *path) {
    REAL(rmdir);
    return end_fails(AT_FDCWD, path) ? -1 : real(path);
}
