/* Notes what a program does to the files below one folder, in order: loaded before libc (LD_PRELOAD) by power_cuts.py.

   One line an event: what, file handle, offset, count of bytes, path (two with a tab for a rename); the bytes follow.
     O opened, was there   C opened, made by it   T opened and emptied   D folder made
     W written   Z cut to this size   S forced to disk   X closed   R renamed   U unlinked   F folder removed
   A call waits for the one before, so that the order is the true one. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#define HANDLES 65536
static char below[HANDLES];
static const char *root;
static int noted = -1;
static pthread_mutex_t one_at_a_time = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;

#define REAL(name, type, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type (*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

static ssize_t put(const void *data, size_t size) {
    REAL("write", ssize_t, int, const void *, size_t);
    return real(noted, data, size);
}

static void note(char what, int handle, long long offset, long long count, const char *path, const void *data) {
    char line[3 * PATH_MAX];
    int size = snprintf(line, sizeof line, "%c %d %lld %lld %s\n", what, handle, offset, count, path);
    if (put(line, size) != size || (data && put(data, count) != count)) abort();
}

/* The whole path; empty where it is not below the folder. */
static const char *whole(int folder, const char *path, char *out) {
    out[0] = 0;
    if (!root) {
        root = getenv("GILLBOOK_WATCHED");
        const char *log = getenv("GILLBOOK_WATCHED_LOG");
        if (!root || !log) abort();
        REAL("open", int, const char *, int, ...);
        noted = real(log, O_WRONLY | O_CREAT | O_APPEND, 0600);
    }
    char start[PATH_MAX] = "";
    if (path[0] != '/') {
        if (folder == AT_FDCWD) {
            if (!getcwd(start, sizeof start)) return out;
        } else {
            char link[64];
            snprintf(link, sizeof link, "/proc/self/fd/%d", folder);
            ssize_t size = readlink(link, start, sizeof start - 1);
            if (size < 0) return out;
            start[size] = 0;
        }
        strncat(start, "/", sizeof start - strlen(start) - 1);
    }
    snprintf(out, PATH_MAX, "%s%s", start, path);
    size_t size = strlen(root);
    /* The root is given with a slash behind it; the folder itself counts. */
    if (strncmp(out, root, size) && !(strlen(out) == size - 1 && !strncmp(out, root, size - 1))) out[0] = 0;
    return out;
}

#define LOCKED pthread_mutex_lock(&one_at_a_time)
#define FREE do { int kept = errno; pthread_mutex_unlock(&one_at_a_time); errno = kept; } while (0)

static int opened(int folder, const char *path, int flags, mode_t mode) {
    REAL("openat", int, int, const char *, int, ...);
    char at[PATH_MAX];
    struct stat before;
    LOCKED;
    whole(folder, path, at);
    int there = !at[0] || !fstatat(folder, path, &before, 0);
    int handle = real(folder, path, flags, mode);
    if (handle >= 0 && handle < HANDLES) {
        below[handle] = at[0] != 0;
        if (at[0]) note(!there ? 'C' : flags & O_TRUNC ? 'T' : 'O', handle, 0, 0, at, 0);
    }
    FREE;
    return handle;
}

#define MODE mode_t mode = 0; if (flags & (O_CREAT | O_TMPFILE)) { va_list more; va_start(more, flags); mode = va_arg(more, mode_t); va_end(more); }
int open(const char *path, int flags, ...) { MODE return opened(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE return opened(AT_FDCWD, path, flags | O_LARGEFILE, mode); }
int openat(int folder, const char *path, int flags, ...) { MODE return opened(folder, path, flags, mode); }
int openat64(int folder, const char *path, int flags, ...) { MODE return opened(folder, path, flags | O_LARGEFILE, mode); }

int close(int handle) {
    REAL("close", int, int);
    LOCKED;
    if (handle >= 0 && handle < HANDLES && below[handle]) {
        below[handle] = 0;
        note('X', handle, 0, 0, "", 0);
    }
    int done = real(handle);
    FREE;
    return done;
}

#define WATCHED (handle >= 0 && handle < HANDLES && below[handle])

ssize_t write(int handle, const void *data, size_t size) {
    REAL("write", ssize_t, int, const void *, size_t);
    LOCKED;
    ssize_t done = real(handle, data, size);
    int problem = errno;
    if (done > 0 && WATCHED) note('W', handle, (long long)lseek(handle, 0, SEEK_CUR) - done, done, "", data);
    errno = problem;
    FREE;
    return done;
}

ssize_t pwrite(int handle, const void *data, size_t size, off_t at) {
    REAL("pwrite", ssize_t, int, const void *, size_t, off_t);
    LOCKED;
    ssize_t done = real(handle, data, size, at);
    if (done > 0 && WATCHED) note('W', handle, at, done, "", data);
    FREE;
    return done;
}
ssize_t pwrite64(int handle, const void *data, size_t size, off64_t at) { return pwrite(handle, data, size, at); }

ssize_t writev(int handle, const struct iovec *parts, int count) {
    ssize_t sum = 0;
    for (int at = 0; at < count; at++) {
        ssize_t done = write(handle, parts[at].iov_base, parts[at].iov_len);
        if (done < 0) return sum ? sum : done;
        sum += done;
    }
    return sum;
}

/* So that copies come through write. */
ssize_t sendfile(int out, int in, off_t *at, size_t count) { errno = ENOTSOCK; return -1; }
ssize_t sendfile64(int out, int in, off64_t *at, size_t count) { errno = ENOTSOCK; return -1; }
ssize_t copy_file_range(int in, off64_t *a, int out, off64_t *b, size_t count, unsigned flags) { errno = EXDEV; return -1; }
int fallocate(int handle, int mode, off_t at, off_t count) { errno = EOPNOTSUPP; return -1; }

int ftruncate(int handle, off_t size) {
    REAL("ftruncate", int, int, off_t);
    LOCKED;
    int done = real(handle, size);
    if (!done && WATCHED) note('Z', handle, size, 0, "", 0);
    FREE;
    return done;
}
int ftruncate64(int handle, off64_t size) { return ftruncate(handle, size); }

#define SYNCING(name) \
int name(int handle) { \
    REAL(#name, int, int); \
    LOCKED; \
    int done = real(handle); \
    if (!done && WATCHED) note('S', handle, 0, 0, "", 0); \
    FREE; \
    return done; \
}
SYNCING(fsync)
SYNCING(fdatasync)

int renameat(int from_folder, const char *from, int to_folder, const char *to) {
    REAL("renameat", int, int, const char *, int, const char *);
    char a[PATH_MAX], b[PATH_MAX], both[2 * PATH_MAX + 2];
    LOCKED;
    whole(from_folder, from, a);
    whole(to_folder, to, b);
    int done = real(from_folder, from, to_folder, to);
    snprintf(both, sizeof both, "%s\t%s", a, b);
    if (!done && (a[0] || b[0])) note('R', -1, 0, 0, both, 0);
    FREE;
    return done;
}
int rename(const char *from, const char *to) { return renameat(AT_FDCWD, from, AT_FDCWD, to); }

int unlinkat(int folder, const char *path, int flags) {
    REAL("unlinkat", int, int, const char *, int);
    char at[PATH_MAX];
    LOCKED;
    whole(folder, path, at);
    int done = real(folder, path, flags);
    if (!done && at[0]) note(flags & AT_REMOVEDIR ? 'F' : 'U', -1, 0, 0, at, 0);
    FREE;
    return done;
}
int unlink(const char *path) { return unlinkat(AT_FDCWD, path, 0); }
int rmdir(const char *path) { return unlinkat(AT_FDCWD, path, AT_REMOVEDIR); }
int remove(const char *path) {
    int done = unlink(path);
    return done && errno == EISDIR ? rmdir(path) : done;
}

int mkdirat(int folder, const char *path, mode_t mode) {
    REAL("mkdirat", int, int, const char *, mode_t);
    char at[PATH_MAX];
    LOCKED;
    whole(folder, path, at);
    int done = real(folder, path, mode);
    if (!done && at[0]) note('D', -1, 0, 0, at, 0);
    FREE;
    return done;
}
int mkdir(const char *path, mode_t mode) { return mkdirat(AT_FDCWD, path, mode); }
