package clock

import (
	"context"
	"fmt"
	"math"
	"time"
)

// leastPatience is the shortest real time after which silence may be taken for
// death: a host that is busy (a slow disk, a garbage collection, two cores for
// ten programs) must not look like a dead printer. Common practice, no source.
const leastPatience = 3 * time.Second

// Clock is the time of the job. The zero Clock is not ready; use Real or Fast.
type Clock struct {
	start time.Time
	speed float64
}

// Real returns a clock that shows wall time.
func Real() *Clock { return Fast(1) }

// Fast returns a clock that runs speed times faster than wall time, from now.
// It panics if speed is not a positive, finite number.
func Fast(speed float64) *Clock {
	if !(speed > 0) || math.IsInf(speed, 0) {
		panic(fmt.Sprintf("clock: speed %v is not a positive number", speed))
	}
	return &Clock{start: time.Now(), speed: speed}
}

// Now returns the job's time. It carries a monotonic reading, so differences
// are immune to a wall clock that is set.
func (c *Clock) Now() time.Time {
	if c.speed == 1 {
		return time.Now()
	}
	return c.start.Add(time.Duration(float64(time.Since(c.start)) * c.speed))
}

// Since returns the job's time that has passed since t, which was given by Now.
func (c *Clock) Since(t time.Time) time.Duration { return c.Now().Sub(t) }

// Real returns the real time in which d of the job's time passes.
func (c *Clock) Real(d time.Duration) time.Duration {
	if c.speed == 1 {
		return d
	}
	return time.Duration(float64(d) / c.speed)
}

// Patience returns the real time for which d, a time of liveness, is waited:
// leastPatience at least, or d if that is shorter.
func (c *Clock) Patience(d time.Duration) time.Duration {
	return max(c.Real(d), min(d, leastPatience))
}

// WithTimeout is context.WithTimeout with d in the job's time.
func (c *Clock) WithTimeout(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, c.Real(d))
}

// Sleep waits for d or until ctx ends, and returns the context's error then.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-time.After(c.Real(d)):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
