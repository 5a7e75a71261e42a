package main

import (
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// slim gives back the pages of the program's own file that the beginnings of its
// packages have touched, nearly all of them once: some 13 of 25 MB, of which a
// command such as carry then needs 7 (deploy/carry-memory). They are read-only and stand in the file, so
// that what is needed again is mapped again. Where it fails nothing is lost.
func slim() {
	name, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return
	}
	maps, err := os.ReadFile("/proc/self/maps")
	if err != nil {
		return
	}
	for line := range strings.Lines(string(maps)) {
		span, rest, _ := strings.Cut(line, " ")
		if !strings.HasPrefix(rest, "r--p") && !strings.HasPrefix(rest, "r-xp") || !strings.HasSuffix(strings.TrimSpace(line), " "+name) {
			continue
		}
		if from, to, ok := spanOf(span); ok {
			_, _, _ = unix.Syscall(unix.SYS_MADVISE, from, to-from, unix.MADV_DONTNEED)
		}
	}
}

// spanOf reads an address range of proc(5), maps: 00400000-00452000.
func spanOf(text string) (from, to uintptr, ok bool) {
	a, b, ok := strings.Cut(text, "-")
	x, err := strconv.ParseUint(a, 16, 64)
	y, err2 := strconv.ParseUint(b, 16, 64)
	return uintptr(x), uintptr(y), ok && err == nil && err2 == nil && x < y
}
