/* The least that a round trip over a serial line can cost, for comparison.
 *
 *   roundtrip near PATH COUNT   writes a line, waits for the answer's end, COUNT
 *                               times; prints the ns that each took
 *   roundtrip far               the printer's end, on descriptor 3: ok to each line
 */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static long long now(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1000000000LL + t.tv_nsec;
}

static int far(void)
{
	char b[4096];
	for (;;) {
		ssize_t n = read(3, b, sizeof b);
		if (n <= 0)
			return 0;
		for (ssize_t i = 0; i < n; i++)
			if (b[i] == '\n' && write(3, "ok\n", 3) != 3)
				return 1;
	}
}

static int near(const char *path, int count)
{
	long long *took = calloc(count, sizeof *took);
	int fd = open(path, O_RDWR | O_NOCTTY);
	struct termios t;
	if (!took || fd < 0 || tcgetattr(fd, &t))
		return 1;
	cfmakeraw(&t);
	if (tcsetattr(fd, TCSANOW, &t))
		return 1;
	for (int i = 0; i < count; i++) {
		char b[256];
		long long began = now();
		if (write(fd, "M105\n", 5) != 5)
			return 1;
		for (;;) {
			ssize_t n = read(fd, b, sizeof b);
			if (n <= 0)
				return 1;
			if (memchr(b, '\n', n))
				break;
		}
		took[i] = now() - began;
	}
	for (int i = 0; i < count; i++)
		printf("%lld\n", took[i]);
	return 0;
}

int main(int argc, char **argv)
{
	if (argc == 2 && !strcmp(argv[1], "far"))
		return far();
	if (argc == 4 && !strcmp(argv[1], "near"))
		return near(argv[2], atoi(argv[3]));
	return 2;
}
