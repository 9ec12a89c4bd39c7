"""What depends on the operating system: clock, lock, sync. Nothing else in the package asks which system it runs on.

Linux: CLOCK_BOOTTIME (goes on during suspend), flock, fdatasync. macOS: CLOCK_MONOTONIC, which goes on in sleep
there, and F_FULLFSYNC, since fsync leaves the data in the drive's cache. Windows: perf_counter, msvcrt.locking, and fsync.
"""
