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
			if got := c.Patience(d); got != max(real, 3*time.Second) {
				t.Errorf("speed %v: patience of a minute is %v", speed, got)
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
