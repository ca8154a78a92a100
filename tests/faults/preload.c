/* Fails, shortens or interrupts one system call of a process, or all from one on: the call that is the N-th below a folder.

   Loaded with LD_PRELOAD. Nothing happens until `faults_arm` is given a plan, which lies in memory that is shared with the process that
   watches, so that the counts survive a kill. A call counts if its path, or the path that its descriptor was opened by, lies below the
   plan's folder: so Python's own imports and the streams to the terminal are never counted. Processes that are forked later share the
   plan and its counts. */

#define _GNU_SOURCE
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

enum kind { OPEN, CREATE, READ, WRITE, RENAME, LINK, UNLINK, MKDIR, SYNC, TRUNCATE, LIST, STATUS, MODE };

#define TRACED 65536
#define HANDLES 4096

/* The same fields in the same order as in `injecting.py`. */
struct plan {
    int kinds;     /* bits of the kinds that are disturbed */
    int at;        /* the number of the call, from 1; 0: only count */
    int forever;   /* this call and every later one of those kinds */
    int error;     /* the errno that it fails with; 0: none */
    int signal;    /* the signal that the process gets before the call is made; 0: none */
    int halve;     /* a write takes only half of its bytes */
    int calls;     /* counted so far */
    int fired;     /* disturbed so far */
    unsigned char trace[TRACED]; /* the kind of each call, in order */
    char folder[4096];
};

static struct plan *plan;
static size_t length; /* of the folder's name */
static unsigned char below[HANDLES];

void faults_arm(struct plan *given) {
    memset(below, 0, sizeof below);
    length = strlen(given->folder);
    plan = given;
}

static void *next(const char *name) {
    void *found = dlsym(RTLD_NEXT, name);
    if (!found) abort();
    return found;
}

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = next(name)

static int handle_below(int fd) { return plan && fd >= 0 && fd < HANDLES && below[fd]; }

static int path_below(int at, const char *path) {
    char here[4096];
    if (!plan || !path) return 0;
    if (path[0] != '/') {
        if (at != AT_FDCWD) return handle_below(at);
        if (!getcwd(here, sizeof here)) return 0;
        path = here; /* a name seen from a folder below it */
    }
    return strncmp(path, plan->folder, length) == 0 && (path[length] == '/' || path[length] == 0);
}

/* Counts a call. -1: it fails, errno is set. 1: it is to be shortened. 0: it is made as always. */
static int disturbed(enum kind kind) {
    int number = __atomic_add_fetch(&plan->calls, 1, __ATOMIC_SEQ_CST);
    if (number <= TRACED) plan->trace[number - 1] = kind;
    if (!plan->at || !(plan->kinds >> kind & 1)) return 0;
    if (plan->forever ? number < plan->at : number != plan->at) return 0;
    __atomic_add_fetch(&plan->fired, 1, __ATOMIC_SEQ_CST);
    if (plan->signal) kill(getpid(), plan->signal);
    if (plan->error) {
        errno = plan->error;
        return -1;
    }
    return plan->halve;
}

static int opened(int fd, int ours) {
    if (fd >= 0 && fd < HANDLES) below[fd] = ours;
    return fd;
}

static int open_at(int at, const char *path, int flags, mode_t mode) {
    REAL(int, "openat64", int, const char *, int, ...);
    int ours = path_below(at, path);
    if (ours && disturbed(flags & O_CREAT ? CREATE : OPEN) < 0) return -1;
    return opened(real(at, path, flags, mode), ours);
}

#define WITH_MODE(flags) \
    mode_t mode = 0; \
    if ((flags) & (O_CREAT | O_TMPFILE)) { \
        va_list rest; \
        va_start(rest, flags); \
        mode = va_arg(rest, mode_t); \
        va_end(rest); \
    }

int open(const char *path, int flags, ...) { WITH_MODE(flags) return open_at(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { WITH_MODE(flags) return open_at(AT_FDCWD, path, flags, mode); }
int openat(int at, const char *path, int flags, ...) { WITH_MODE(flags) return open_at(at, path, flags, mode); }
int openat64(int at, const char *path, int flags, ...) { WITH_MODE(flags) return open_at(at, path, flags, mode); }

int close(int fd) {
    REAL(int, "close", int);
    opened(fd, 0);
    return real(fd);
}

int dup(int fd) {
    REAL(int, "dup", int);
    return opened(real(fd), handle_below(fd));
}

int dup2(int fd, int to) {
    REAL(int, "dup2", int, int);
    return opened(real(fd, to), handle_below(fd));
}

/* Python duplicates a descriptor this way. */
static int controlled(int fd, int command, void *argument) {
    REAL(int, "fcntl64", int, int, ...);
    int result = real(fd, command, argument);
    return command == F_DUPFD || command == F_DUPFD_CLOEXEC ? opened(result, handle_below(fd)) : result;
}

#define FCNTL(name) \
    int name(int fd, int command, ...) { \
        va_list rest; \
        va_start(rest, command); \
        void *argument = va_arg(rest, void *); \
        va_end(rest); \
        return controlled(fd, command, argument); \
    }
FCNTL(fcntl)
FCNTL(fcntl64)

/* A call on a descriptor that moves bytes; `size` is the name of the count that may be halved. */
#define ON_HANDLE(type, name, kind, fd, parameters, arguments) \
    type name parameters { \
        static type (*real) parameters; \
        if (!real) real = next(#name); \
        if (handle_below(fd) && disturbed(kind) < 0) return -1; \
        return real arguments; \
    }
#define WRITING(name, parameters, arguments) \
    ssize_t name parameters { \
        static ssize_t(*real) parameters; \
        if (!real) real = next(#name); \
        if (handle_below(fd)) { \
            int what = disturbed(WRITE); \
            if (what < 0) return -1; \
            if (what && size > 1) size /= 2; \
        } \
        return real arguments; \
    }

WRITING(write, (int fd, const void *data, size_t size), (fd, data, size))
WRITING(pwrite, (int fd, const void *data, size_t size, off_t where), (fd, data, size, where))
WRITING(pwrite64, (int fd, const void *data, size_t size, off64_t where), (fd, data, size, where))
ON_HANDLE(ssize_t, writev, WRITE, fd, (int fd, const struct iovec *data, int count), (fd, data, count))
ON_HANDLE(ssize_t, read, READ, fd, (int fd, void *data, size_t size), (fd, data, size))
ON_HANDLE(ssize_t, readv, READ, fd, (int fd, const struct iovec *data, int count), (fd, data, count))
ON_HANDLE(ssize_t, pread, READ, fd, (int fd, void *data, size_t size, off_t where), (fd, data, size, where))
ON_HANDLE(ssize_t, pread64, READ, fd, (int fd, void *data, size_t size, off64_t where), (fd, data, size, where))
ON_HANDLE(int, fsync, SYNC, fd, (int fd), (fd))
ON_HANDLE(int, fdatasync, SYNC, fd, (int fd), (fd))
ON_HANDLE(int, ftruncate, TRUNCATE, fd, (int fd, off_t size), (fd, size))
ON_HANDLE(int, ftruncate64, TRUNCATE, fd, (int fd, off64_t size), (fd, size))
ON_HANDLE(int, fchmod, MODE, fd, (int fd, mode_t mode), (fd, mode))
ON_HANDLE(int, fstat, STATUS, fd, (int fd, struct stat *status), (fd, status))
ON_HANDLE(int, fstat64, STATUS, fd, (int fd, struct stat64 *status), (fd, status))

#define ON_PATH(type, failed, name, kind, at, path, parameters, arguments) \
    type name parameters { \
        static type (*real) parameters; \
        if (!real) real = next(#name); \
        if (path_below(at, path) && disturbed(kind) < 0) return failed; \
        return real arguments; \
    }

ON_PATH(int, -1, rename, RENAME, AT_FDCWD, to, (const char *from, const char *to), (from, to))
ON_PATH(int, -1, renameat, RENAME, b, to, (int a, const char *from, int b, const char *to), (a, from, b, to))
ON_PATH(int, -1, link, LINK, AT_FDCWD, to, (const char *from, const char *to), (from, to))
ON_PATH(int, -1, linkat, LINK, b, to, (int a, const char *from, int b, const char *to, int flags), (a, from, b, to, flags))
ON_PATH(int, -1, symlink, LINK, AT_FDCWD, to, (const char *from, const char *to), (from, to))
ON_PATH(int, -1, unlink, UNLINK, AT_FDCWD, path, (const char *path), (path))
ON_PATH(int, -1, unlinkat, UNLINK, at, path, (int at, const char *path, int flags), (at, path, flags))
ON_PATH(int, -1, rmdir, UNLINK, AT_FDCWD, path, (const char *path), (path))
ON_PATH(int, -1, mkdir, MKDIR, AT_FDCWD, path, (const char *path, mode_t mode), (path, mode))
ON_PATH(int, -1, mkdirat, MKDIR, at, path, (int at, const char *path, mode_t mode), (at, path, mode))
ON_PATH(int, -1, chmod, MODE, AT_FDCWD, path, (const char *path, mode_t mode), (path, mode))
ON_PATH(int, -1, fchmodat, MODE, at, path, (int at, const char *path, mode_t mode, int flags), (at, path, mode, flags))
ON_PATH(int, -1, stat, STATUS, AT_FDCWD, path, (const char *path, struct stat *status), (path, status))
ON_PATH(int, -1, stat64, STATUS, AT_FDCWD, path, (const char *path, struct stat64 *status), (path, status))
ON_PATH(int, -1, lstat, STATUS, AT_FDCWD, path, (const char *path, struct stat *status), (path, status))
ON_PATH(int, -1, lstat64, STATUS, AT_FDCWD, path, (const char *path, struct stat64 *status), (path, status))
ON_PATH(int, -1, fstatat, STATUS, at, path, (int at, const char *path, struct stat *status, int flags), (at, path, status, flags))
ON_PATH(int, -1, fstatat64, STATUS, at, path, (int at, const char *path, struct stat64 *status, int flags), (at, path, status, flags))
ON_PATH(DIR *, NULL, opendir, LIST, AT_FDCWD, path, (const char *path), (path))

DIR *fdopendir(int fd) {
    REAL(DIR *, "fdopendir", int);
    if (handle_below(fd) && disturbed(LIST) < 0) return NULL;
    return real(fd);
}
