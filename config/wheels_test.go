package config_test

import (
	"testing"

	"abbed/config"
)

// A range of wheels that is none is a fault with its remedy.
func TestWheels(t *testing.T) {
	s := config.Default()
	s.Turns.WheelLeast, s.Turns.WheelMost = 90, 70
	faults := s.Validate()
	if len(faults) != 1 || faults[0].Field != "turns.wheel_least" || faults[0].Hint == "" {
		t.Errorf("%+v", faults)
	}
}
