"""A preloaded library that lets the disk fail when a test says so."""

import subprocess
from pathlib import Path

# Preloaded, it lets writes or syncs of journals fail while a file named by FAULT says so: `write`, `sync`, or `full`.
# Nothing else is touched.
SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int fails(const char *what, int fd) {
    char link[64], name[4096], said[64] = "";
    const char *path = getenv("FAULT");
    int saved = errno, control = path ? open(path, O_RDONLY) : -1;
    if (control < 0) { errno = saved; return 0; }
    ssize_t size = read(control, said, sizeof said - 1);
    close(control);
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, name, sizeof name);
    errno = saved;
    return size > 0 && strstr(said, what) && length > 6 && !strncmp(name + length - 6, ".jsonl", 6);
}

ssize_t write(int fd, const void *data, size_t size) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = dlsym(RTLD_NEXT, "write");
    if (fails("write", fd)) { errno = EROFS; return -1; }
    static int taken;
    if (fails("full", fd)) {  /* a disk that fills takes a part of a line, and then none */
        if (!taken) { taken = 1; return real(fd, data, size / 2); }
        errno = ENOSPC;
        return -1;
    }
    taken = 0;
    return real(fd, data, size);
}

int fdatasync(int fd) {
    static int (*real)(int);
    if (!real) real = dlsym(RTLD_NEXT, "fdatasync");
    if (fails("sync", fd)) { errno = EIO; return -1; }
    return real(fd);
}
"""


def build(library: Path) -> Path:
    """Compile it to this file, and return the file."""
    source = library.with_suffix(".c")
    source.write_text(SHIM)
    subprocess.run(["gcc", "-shared", "-fPIC", "-o", str(library), str(source), "-ldl"], check=True)
    return library
