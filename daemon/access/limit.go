package access

import (
	"math"
	"sync"
	"time"
)

// A wrong try costs one of tryBurst, and one comes back each tryEvery. Common
// practice, no source.
const (
	tryBurst = 10
	tryEvery = 3 * time.Second
	// mostTried bounds the memory of addresses; a full memory is cleared of
	// those that have all their tries again, then of the oldest.
	mostTried = 1024
)

// limiter counts wrong tries by address: a bucket that fills with time.
type limiter struct {
	now func() time.Time

	mu  sync.Mutex
	out map[string]time.Time // when the bucket is full again
}

func newLimiter(now func() time.Time) *limiter {
	return &limiter{now: now, out: map[string]time.Time{}}
}

// take takes one try; false if none is left.
func (l *limiter) take(from string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	full := l.out[from]
	if full.Before(now) {
		full = now
	}
	full = full.Add(tryEvery)
	if full.Sub(now) > tryBurst*tryEvery {
		return false
	}
	if _, known := l.out[from]; !known && len(l.out) >= mostTried {
		l.forget(now)
	}
	l.out[from] = full
	return true
}

// wait returns how many seconds it takes until a try is left; 0 if one is.
func (l *limiter) wait(from string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	full, known := l.out[from]
	if !known {
		return 0
	}
	left := full.Add(tryEvery).Sub(l.now()) - tryBurst*tryEvery
	return max(0, int(math.Ceil(left.Seconds())))
}

// forget makes room.
func (l *limiter) forget(now time.Time) {
	oldest := ""
	for from, full := range l.out {
		if !full.After(now) {
			delete(l.out, from)
		} else if oldest == "" || full.Before(l.out[oldest]) {
			oldest = from
		}
	}
	if len(l.out) >= mostTried {
		delete(l.out, oldest)
	}
}
