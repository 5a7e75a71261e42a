package web

import (
	"encoding/json"
	"sync"
	"time"

	"abbed/daemon/api"
)

// state is a run as event streams tell it: its JSON is made once for all who
// watch.
type state struct {
	number int64
	over   bool
	json   []byte
	at     time.Time
}

// states keeps the states that were made since the desk last changed.
type states struct {
	mu    sync.Mutex
	since <-chan struct{}
	made  map[string]state
}

// of returns the state of a run, and a channel that is closed when anything
// has changed since. fresh asks the desk whatever was made: whoever begins to
// watch may just have changed the run, and acts on what they are told.
func (s *states) of(desk api.Desk, id string, fresh bool) (state, <-chan struct{}, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if now := desk.Changed(); now != s.since {
		s.since, s.made = now, map[string]state{}
	}
	if st, ok := s.made[id]; ok && !fresh && time.Since(st.at) < time.Second {
		return st, s.since, nil
	}
	run, err := desk.Run(id)
	if err != nil {
		return state{}, s.since, err
	}
	b, err := json.Marshal(tidy(run))
	if err != nil {
		return state{}, s.since, err
	}
	st := state{number: run.Number, over: run.State.Over(), json: b, at: time.Now()}
	s.made[id] = st
	return st, s.since, nil
}
