package clock_test

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"abbed/gcode/clock"
)

// waited returns how much real time passes until the timer fires.
func waited(c <-chan time.Time, _ func() bool) time.Duration {
	began := time.Now()
	<-c
	return time.Since(began)
}

func TestFast(t *testing.T) {
	for _, speed := range []float64{1, 60, 0.5} {
		synctest.Test(t, func(t *testing.T) {
			c := clock.Fast(speed)
			began := c.Now()
			time.Sleep(2 * time.Second)
			want := time.Duration(2 * speed * float64(time.Second))
			if got := c.Since(began); got != want {
				t.Errorf("speed %v: %v passed, want %v", speed, got, want)
			}
			d := time.Minute
			real := time.Duration(float64(d) / speed)
			if got := waited(c.Timer(d)); got != real {
				t.Errorf("speed %v: a minute took %v, want %v", speed, got, real)
			}
			if got := waited(c.Patience(d)); got != max(real, 3*time.Second) {
				t.Errorf("speed %v: patience of a minute took %v", speed, got)
			}
			if got := waited(c.AtLeast(d, 2*time.Hour)); got != 2*time.Hour {
				t.Errorf("speed %v: at least two hours took %v", speed, got)
			}
			ctx, cancel := c.WithTimeout(context.Background(), d)
			defer cancel()
			at := time.Now()
			if err := c.Sleep(ctx, time.Hour); !errors.Is(err, context.DeadlineExceeded) || time.Since(at) != real {
				t.Errorf("speed %v: %v after %v", speed, err, time.Since(at))
			}
			if err := c.Sleep(context.Background(), d); err != nil || time.Since(at) != 2*real {
				t.Errorf("speed %v: %v after %v", speed, err, time.Since(at))
			}
		})
	}
}

func TestStoppedTimerIsSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, stop := clock.Real().Timer(time.Second)
		if !stop() {
			t.Error("it had fired")
		}
		time.Sleep(time.Minute)
		select {
		case <-c:
			t.Error("it fired")
		default:
		}
	})
}

func TestNoSpeed(t *testing.T) {
	for _, speed := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("speed %v is taken", speed)
				}
			}()
			clock.Fast(speed)
		}()
	}
}
