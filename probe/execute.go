package probe

import (
	"context"
	"errors"
	"slices"

	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/probe/record"
)

// Job is what Execute needs beside the line: who is there, what is kept, how
// much is measured.
type Job struct {
	Line   Dialogue
	Words  *dialect.Dialect
	Manner Manner
	Log    Log
	Person Person
	Clock  *clock.Clock
	Plan   Plan
	// Show is told where the run stands; it must not block.
	Show func(View)
	// Heard is told the settings report with which the run begins, before anything
	// is switched; it returns what the idle switch-off of the motors is put back to,
	// s. Nil: Manner says it.
	Heard func(settings string) int
}

// job is a Job on its way.
type job struct {
	Job
	log   Log
	plan  Plan
	setup record.Setup
	head  *Head
	meter *meter
	view  View
	left  int // places where the probe could not be believed
}

// Execute carries out the steps of the run that the log has opened, in their
// order, and puts back whatever it switched off. The result is nil when every
// step ended, or when the run was cut by a finding (which is then in the log);
// otherwise why it failed. What could not be put back stays in the run's Off.
//
// The context ends the run at the next command; putting back has a context of
// its own.
func Execute(ctx context.Context, o Job) error {
	setup := o.Log.Run().Setup
	j := &job{Job: o, log: o.Log, plan: o.Plan, setup: setup}
	j.head = NewHead(o.Line, o.Words, o.Log, o.Manner)
	err := j.steps(ctx)
	if cut := AsCut(err); cut != nil {
		err = j.keep(record.Event{Cut: cut})
	}
	back, cancel := o.Clock.WithTimeout(context.WithoutCancel(ctx), putBackTime)
	defer cancel()
	if e := j.head.PutBack(back); e != nil && err == nil {
		err = e
	}
	return err
}

func (j *job) steps(ctx context.Context) error {
	if err := j.prepare(ctx); err != nil {
		return err
	}
	run := j.log.Run()
	for _, s := range []struct {
		step record.Step
		do   func(context.Context) error
	}{
		{record.StepRepeat, j.repeat}, {record.StepGauging, j.gauge}, {record.StepRepeat, j.rows}, {record.StepSurvey, j.survey},
		{record.StepPlateTurn, j.plateTurn}, {record.StepCoupons, j.coupons}, {record.StepAngles, j.angles}, {record.StepReference, j.reference},
		{record.StepProve, j.prove},
	} {
		if !slices.Contains(run.Steps, s.step) {
			continue
		}
		if err := j.keepWarmth(ctx, s.step); err != nil {
			return err
		}
		if err := s.do(ctx); err != nil {
			return err
		}
	}
	return j.keepWarmth(ctx, record.StepAnalysis)
}

// prepare looks whether the printer is free, homes it, and reads the stored map
// and the settings.
func (j *job) prepare(ctx context.Context) error {
	if err := j.begin(record.StepPrepare, 4); err != nil {
		return err
	}
	if err := ForeignUse(ctx, j.Line, j.Words, j.Clock, false); err != nil {
		return err
	}
	j.did()
	if err := j.readSettings(ctx); err != nil {
		return err
	}
	if err := j.awake(ctx); err != nil {
		return err
	}
	if err := j.head.Home(ctx); err != nil {
		return err
	}
	if err := j.warmUp(ctx); err != nil {
		return err
	}
	j.did()
	return j.readMap(ctx)
}

func (j *job) readSettings(ctx context.Context) error {
	r, err := j.head.ask(ctx, j.Words.Settings(), "read the settings")
	if err != nil {
		return err
	}
	j.did()
	text := j.Words.ReadSettings(r)
	if j.Heard != nil {
		j.head.manner.IdleOff = j.Heard(text)
	}
	if text != "" {
		return j.keep(record.Event{Settings: &record.Settings{Text: text}})
	}
	return nil
}

// readMap keeps the stored map. A printer without one is no fault: the table is
// refused later. One that cannot be read is: it would be guessed.
func (j *job) readMap(ctx context.Context) error {
	rows, ok, why, err := j.askMap(ctx)
	if err != nil {
		return err
	}
	j.did()
	switch {
	case why != nil:
		return j.note("the bed map cannot be read: " + why.Error())
	case !ok:
		return j.note("the printer printed no bed map")
	}
	return j.keep(record.Event{Map: &record.Map{Nodes: rows}})
}

// askMap asks for the map until two prints in a row are alike, four times at
// most: nothing in a print tells that a digit was damaged on the way. why says
// what is wrong with the print.
func (j *job) askMap(ctx context.Context) (rows [][]int64, ok bool, why, err error) {
	var last [][]int64
	for range 4 {
		r, err := j.head.ask(ctx, j.Words.Map(), "read the bed map")
		if err != nil {
			return nil, false, nil, err
		}
		rows, ok, why = j.Words.ReadMap(r)
		if why != nil || !ok || last != nil && slices.EqualFunc(rows, last, slices.Equal) {
			return rows, ok, why, nil
		}
		last = rows
	}
	return nil, false, errors.New("it is printed otherwise each time"), nil
}

// begin keeps that a step began and shows it.
func (j *job) begin(step record.Step, of int) error { return j.beginAs(step, of, sentences[step]) }

// beginAs is begin with a sentence of its own.
func (j *job) beginAs(step record.Step, of int, sentence string) error {
	j.meter = newMeter(j.Clock, of)
	j.view = View{Phase: PhaseWorking, Step: step, Of: of, Sentence: sentence, Forecast: j.view.Forecast}
	j.show()
	if err := j.keep(record.Event{Began: &record.Began{Step: step, Of: of}}); err != nil {
		return err
	}
	j.foresee()
	return nil
}

// foresee shows anew what is ahead.
func (j *job) foresee() {
	j.view.Forecast = Foresee(j.log.Run(), j.plan)
	j.show()
}

var sentences = map[record.Step]string{
	record.StepPrepare: "Looking at the printer, then homing.",
	record.StepRepeat:  "Touching the same point again and again: is the machine steady?",
	record.StepGauging: "Getting ready for the feeler gauge.",
	record.StepProve:   "Getting ready to gauge the nozzle with the correction in force.",
	record.StepSurvey:  "You can go now. The bed is touched all over.",

	record.StepPlateTurn: "Touching the turned plate all over.",
	record.StepCoupons:   "Taking the readings of the printed patches.",
	record.StepAngles:    "Moving to where the tilt of the head is to be read. Keep hands out.",
	record.StepReference: "Touching along the straight reference.",
}

// did counts one thing done and shows it.
func (j *job) did() {
	j.meter.done++
	j.show()
}

func (j *job) show() {
	j.view.Done, j.view.Of, j.view.Left = j.meter.done, j.meter.of, j.meter.left()
	j.view.Homed = j.head.Homed()
	j.view.Unwatched = j.unwatched()
	j.Show(j.view)
}

// unwatched reports whether no step that needs the person is left.
func (j *job) unwatched() bool {
	run := j.log.Run()
	for _, s := range []record.Step{record.StepGauging, record.StepPlateTurn, record.StepCoupons, record.StepAngles, record.StepReference, record.StepProve} {
		if run.Asked(s) && !run.Did(s) {
			return false
		}
	}
	return run.Confirmed != nil && run.Step != record.StepPrepare
}

// note keeps a sentence.
func (j *job) note(text string) error {
	return j.keep(record.Event{Note: &record.Note{Text: text}})
}

func (j *job) keep(e record.Event) error {
	if _, err := j.log.Append(e); err != nil {
		return fault(err, "store", "see to the disk (the sentence says what it has), then start again; what was measured so far is kept", "keep what happened")
	}
	return nil
}

// refused reports whether an action was refused, so that nothing moved.
func refused(err error) bool {
	for p := (*record.Problem)(nil); errors.As(err, &p); err = p.Cause {
		if p.Status != 0 {
			return true
		}
	}
	return false
}
