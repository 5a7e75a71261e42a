package correction

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"abbed/analysis"
	"abbed/config"
	"abbed/config/say"
	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/apply"
	"abbed/daemon/known"
	"abbed/daemon/link"
	"abbed/daemon/refuse"
	"abbed/daemon/results"
	"abbed/daemon/store"
	"abbed/gcode"
	"abbed/gcode/clock"
	"abbed/gcode/dialect"
	"abbed/probe"
	"abbed/probe/record"
)

// Options are what a Correction needs of the house.
type Options struct {
	Store  *store.Store
	Link   *link.Link
	Runs   *results.Shelf
	Words  *dialect.Dialect
	Clock  *clock.Clock
	Signer *access.Signer
	Log    *slog.Logger
	// Owner are the settings as they are in force, Known what is known of the printer.
	Owner func() config.Settings
	Known func(*link.Facts) known.Known
	// Claim has nothing else begin until release; it refuses while a run goes on, and at
	// the end of the program.
	Claim func(what string) (release func(), err error)
	// Owed is what a run switched off, PutBack switches it on again.
	Owed    func() []string
	PutBack func(by string) error
	// Ending ends with the program, GivenUp when nothing more may be waited for; Jobs is
	// what the end of the program waits for.
	Ending, GivenUp context.Context
	Jobs            *sync.WaitGroup
	Audit           func(who, what, detail string)
	Changed         func()
	// Ended is told how a step ended: apply, undo or reapply.
	Ended func(step string, success bool)
}

// Correction is what stands in the printer's bed map, and the one that changes it.
type Correction struct {
	store         *store.Store
	link          *link.Link
	runs          *results.Shelf
	words         *dialect.Dialect
	clk           *clock.Clock
	signer        *access.Signer
	log           *slog.Logger
	owner         func() config.Settings
	know          func(*link.Facts) known.Known
	claim         func(string) (func(), error)
	owed          func() []string
	putBack       func(string) error
	base, writing context.Context
	jobs          *sync.WaitGroup
	audit         func(who, what, detail string)
	changed       func()
	ended         func(string, bool)

	mu       sync.Mutex
	applied  store.Applied
	progress api.Progress
	busy     bool // an apply, undo or resolve is going on
	// refused counts the refusals of a re-apply by their code.
	refused map[string]uint64
}

// New returns a Correction that knows nothing until Recover.
func New(o Options) *Correction {
	return &Correction{
		store: o.Store, link: o.Link, runs: o.Runs, words: o.Words, clk: o.Clock, signer: o.Signer, log: o.Log,
		owner: o.Owner, know: o.Known, claim: o.Claim, owed: o.Owed, putBack: o.PutBack, base: o.Ending, writing: o.GivenUp, jobs: o.Jobs,
		audit: o.Audit, changed: o.Changed, ended: o.Ended,
	}
}

// Now is the last entry of the journal.
func (d *Correction) Now() store.Applied {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.applied
}

// Refused counts the refusals of a re-apply by their code; nobody changes it.
func (d *Correction) Refused() map[string]uint64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.refused
}

// Learn takes what a run that has ended says of the correction.
func (d *Correction) Learn(run record.Run) {
	d.learnMap(run)
	d.learnTwist(run)
	d.LearnLater()
	if run.Ended != nil && run.Ended.State == record.EndDone {
		d.learnProof(run)
	}
}

// Expiry is the short name of why the correction no longer holds, "" if it does.
func (d *Correction) Expiry() string { return expiryOf(d.expiry(d.Now())) }

// SignOff takes a person's confirmation of each caution for one exact table and
// returns a token for it. The printer is asked anew what it would keep: where
// that is not what was shown, the caution about it is another, and is missing.
func (d *Correction) SignOff(ctx context.Context, digest string, s api.SignOff) (api.SignedOff, error) {
	t, run, err := d.Offered(ctx, digest)
	if err != nil {
		return api.SignedOff{}, err
	}
	if s.Person == "" {
		return api.SignedOff{}, api.Errorf(422, "bad-value", "say who approves", "approve: no person is named")
	}
	j, err := d.runs.Judged(run)
	if err != nil {
		return api.SignedOff{}, err
	}
	if m := refuse.Unconfirmed(tableCautions(t, d.keeps(j.Run)), s.Cautions); len(m) > 0 {
		return api.SignedOff{}, refuse.CautionsMissing(m)
	}
	if err := d.stillGood(t, run); err != nil {
		return api.SignedOff{}, err
	}
	if err := d.askKeeps(ctx); err != nil {
		return api.SignedOff{}, err
	}
	if m := refuse.Unconfirmed(tableCautions(t, d.keeps(j.Run)), s.Cautions); len(m) > 0 {
		return api.SignedOff{}, keepsOther(m)
	}
	token, expires := d.signer.Issue(digest, s.Person)
	d.audit(s.Person, "approve a table", digest)
	return api.SignedOff{Token: token, Expires: expires}, nil
}

// Table returns the correction of a run, or why there is none.
func (d *Correction) Table(id string) (api.Table, error) {
	j, err := d.runs.Judged(id)
	if err != nil {
		return api.Table{}, err
	}
	t, refused := j.Verdict.Table(j.Run)
	if refused == nil {
		if err := d.keepTable(t, id); err != nil {
			return api.Table{}, err
		}
	}
	out := Table(j.Run, t, refused)
	if refused == nil {
		out.Keeps = d.keeps(j.Run)
		out.Cautions = tableCautions(t, out.Keeps)
	}
	return out, nil
}

// keepTable keeps a table that is offered, so that it can be signed off by its
// digest.
func (d *Correction) keepTable(t analysis.Table, run string) error {
	b, err := json.Marshal(t)
	if err == nil {
		err = d.store.SaveTable(context.Background(), t.Digest, run, b)
	}
	if err != nil {
		return refuse.Store(err)
	}
	return nil
}

// Offered returns a table that was offered.
func (d *Correction) Offered(ctx context.Context, digest string) (analysis.Table, string, error) {
	var t analysis.Table
	run, b, err := d.store.Table(ctx, digest)
	if errors.Is(err, store.ErrNone) {
		return t, "", api.Errorf(404, "not-found", "GET runs/{id}/table gives the digest", "no table %q was offered", digest)
	}
	if err == nil {
		err = json.Unmarshal(b, &t)
	}
	if err != nil {
		return t, "", refuse.Store(err)
	}
	return t, run, nil
}

// stillGood returns why a table that was offered is offered no more: its run no
// longer supports it, or the printer or its lever is another.
func (d *Correction) stillGood(t analysis.Table, run string) error {
	j, err := d.runs.Judged(run)
	if err != nil {
		return err
	}
	if now, refused := j.Verdict.Table(j.Run); refused != nil || now.Digest != t.Digest {
		return api.Errorf(409, "table-refused", "look at the run's table again", "the run does not support this table any more")
	}
	l := d.link.Now()
	if l.Facts == nil {
		return d.link.Unready()
	}
	k := d.know(l.Facts)
	if k.Setup.Printer.ID != t.Printer || k.Setup.Lever != t.Lever {
		return api.Errorf(409, "printer-changed", "measure again", "the table was made for another printer, or for another lever")
	}
	return nil
}

// Apply writes a signed-off table into the printer. It returns once the intent
// is kept; the rest goes on.
func (d *Correction) Apply(ctx context.Context, digest string, a api.Apply, _ string) error {
	t, run, err := d.Offered(ctx, digest)
	if err != nil {
		return err
	}
	person, err := d.signer.Redeem(a.Token, digest)
	if err != nil {
		return api.Errorf(403, "token-bad", "approve it again", "apply: %v", err)
	}
	if err := d.stillGood(t, run); err != nil {
		return err
	}
	if d.Unfinished() {
		return api.Errorf(409, "owed", "Undo it, or finish it.", "apply: an earlier apply is unfinished")
	}
	j, err := d.runs.Judged(run)
	if err != nil {
		return err
	}
	var under [][]int64
	if was := j.Run.Setup.Applied; was != nil {
		under = was.Add
	}
	return d.write(ctx, apply.Intent(t, run, person, under), person, "apply a table", apply.Desk.Apply)
}

// Undo takes the correction out of the map: one that is in force, or where a write
// failed half way.
func (d *Correction) Undo(ctx context.Context, by string) error {
	a := d.Now()
	if d.foreign(a) && (a.State == store.Kept || a.Half()) {
		return d.closed(a, by)
	}
	if d.Unfinished() || d.failedHalf() {
		return d.resolve(ctx, apply.TakeBack, by, "undo")
	}
	if a.Code == store.Damaged {
		return api.Errorf(409, a.Code, a.Hint, "undo: %s", a.Text)
	}
	if a.State != store.Kept {
		return api.Errorf(409, "not-applied", "Nothing is to be undone.", "undo: no correction is in force")
	}
	return d.write(ctx, a, by, "undo", apply.Desk.Undo)
}

// Resolve finishes or takes back what was left unfinished, takes back what failed half
// way, and puts back what a run switched off.
func (d *Correction) Resolve(ctx context.Context, r api.Resolve, by string) error {
	c := apply.Choice(r.Choice)
	if c != apply.Finish && c != apply.TakeBack {
		return api.Errorf(422, "bad-value", `"finish" or "take-back"`, "resolve: no choice %q", r.Choice)
	}
	a := d.Now()
	if d.foreign(a) && a.Half() {
		if c == apply.TakeBack {
			return d.closed(a, by)
		}
		return api.Errorf(409, "printer-changed", "Undo it, which closes it, or connect its own printer.", "resolve: %s", printerOther)
	}
	if d.Unfinished() || d.failedHalf() && c == apply.TakeBack {
		return d.resolve(ctx, c, by, "resolve: "+r.Choice)
	}
	if len(d.owed()) > 0 {
		return d.putBack(by)
	}
	if d.failedHalf() {
		return api.Errorf(409, "wrong-state", "Undo it: undo.", "resolve: the printer did not take the new nodes; only the old map can be written back")
	}
	return api.Errorf(409, "wrong-state", "Nothing is to be done.", "resolve: nothing is unfinished or owed")
}

func (d *Correction) resolve(ctx context.Context, c apply.Choice, by, what string) error {
	a := d.Now()
	return d.write(ctx, a, by, what, func(w apply.Desk, ctx context.Context, a store.Applied) (store.Applied, error) {
		return w.Resolve(ctx, a, c)
	})
}

// way is one of the ways in which the stored map is changed.
type way func(apply.Desk, context.Context, store.Applied) (store.Applied, error)

// write takes the printer, looks whether it is free and its map is the right
// one, and carries the change through. It returns once the intent is kept, or
// with why it could not be: then nothing was written. The rest goes on in the
// background.
func (d *Correction) write(_ context.Context, a store.Applied, by, what string, do way) error {
	loan, was, err := d.takeToWrite(&a, what)
	if err != nil {
		return err
	}
	d.audit(by, what, a.Digest)
	begun := make(chan error, 1)
	d.jobs.Go(func() { d.looked(a, was, what, do, loan, begun) })
	d.changed()
	late := time.NewTimer(answersWithin)
	defer late.Stop()
	select {
	case err := <-begun:
		return err
	case <-late.C: // a printer that is busy, or a port that is opened first: what comes of it shows
		return nil
	}
}

// answersWithin is how long a request waits for its change of the map to begin: it looks
// for up to two seconds whether anything else uses the machine.
const answersWithin = 2500 * time.Millisecond

// takeToWrite promises the printer to one change of its map, and says that it goes on; was
// is what stood before.
func (d *Correction) takeToWrite(a *store.Applied, what string) (loan *link.Loan, was store.Applied, err error) {
	release, err := d.claim(what)
	if err != nil {
		return nil, was, err
	}
	defer release()
	if loan, err = d.link.Lend(); err != nil {
		return nil, was, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	was = d.applied
	a.State = store.Writing
	d.busy, d.progress, d.applied = true, api.Progress{}, *a
	return loan, was, nil
}

// looked opens the printer, looks whether its map may be written now, and carries the
// change through. Where it may not, all is as it was, and says why.
func (d *Correction) looked(a, was store.Applied, what string, do way, loan *link.Loan, begun chan error) {
	sess, _, err := loan.Open(d.base)
	var w apply.Desk
	if err == nil {
		w = d.desk(sess)
		err = d.mayWrite(d.base, w, sess, a, what)
	}
	if err != nil {
		e := refuse.Of(err)
		loan.Back(d.link.Now().Homed)
		d.mu.Lock()
		d.busy, d.applied = false, was
		if d.applied.Digest != "" {
			d.applied.Code, d.applied.Text, d.applied.Hint = e.Code, e.Text, e.Hint
		}
		d.mu.Unlock()
		d.changed()
		begun <- e
		return
	}
	tell := w.Stage
	w.Stage = func(a store.Applied) {
		tell(a)
		select {
		case begun <- nil:
		default:
		}
	}
	d.written(w, sess, a, was, what, do, loan, begun)
}

// mayWrite returns why the stored map must not be written now.
func (d *Correction) mayWrite(ctx context.Context, w apply.Desk, sess *gcode.Session, a store.Applied, what string) error {
	if err := probe.ForeignUse(ctx, sess, d.words, d.clk, false); err != nil {
		return refuse.Of(err)
	}
	if a.N > 0 {
		return nil // undo and resolve read for themselves
	}
	if err := w.Check(ctx, a); err != nil {
		return applyRefusal(what, err)
	}
	return nil
}

func (d *Correction) desk(sess *gcode.Session) apply.Desk {
	return apply.Desk{
		Journal: d.store, Now: time.Now, Largest: d.largest(), Earlier: d.earlier,
		Writer: apply.Writer{Line: sess, Words: d.words, Turn: func() bool { return d.base.Err() != nil }, Show: func(done, of int) {
			d.mu.Lock()
			d.progress = api.Progress{Done: done, Of: of}
			d.mu.Unlock()
			d.changed()
		}},
		Stage: func(a store.Applied) {
			d.mu.Lock()
			d.applied = a
			d.mu.Unlock()
			d.changed()
		},
	}
}

// largest is by how much undo, finish and take-back may change a node, um: by the default
// limit at least, so that a limit that was lowered since leaves a correction its way out.
func (d *Correction) largest() int64 {
	return 1 + int64(math.Round(1000*max(record.DefaultCriteria().Largest, known.Criteria(d.owner()).Largest)))
}

// written carries the change through and learns the map that then stands. If not
// even the intent could be kept, all is as it was, and begun is told why.
func (d *Correction) written(w apply.Desk, sess *gcode.Session, a, was store.Applied, what string, do way, loan *link.Loan, begun chan<- error) {
	homed := d.link.Now().Homed
	d.link.Learn(func(f *link.Facts) { f.MapAsked = false }) // what was read before says nothing of the map from here on
	after, err := do(w, d.writing, a)
	if err != nil {
		d.log.Error(what+" did not come to its end", "digest", a.Digest, "state", string(after.State), "err", err)
	}
	if rows, e := w.Read(d.writing); e == nil {
		d.link.Learn(func(f *link.Facts) { f.Map, f.MapAsked = rows, false })
	} else {
		d.link.Learn(func(f *link.Facts) { f.MapAsked = false })
	}
	loan.Back(homed && sess.Err() == nil)
	if err != nil && after.N == a.N {
		after = was
	}
	after = standing(after, err)
	d.ended(stepOf(what), err == nil)
	d.mu.Lock()
	d.busy, d.applied = false, after
	d.mu.Unlock()
	d.changed()
	if err != nil {
		select {
		case begun <- applyRefusal(what, err):
		default:
		}
	}
}

// standing is how a change that has ended stands: one whose end could not be kept
// is unfinished, and says why.
func standing(a store.Applied, err error) store.Applied {
	if a.State != store.Writing && a.State != store.Verifying {
		return a
	}
	a.State = store.Unfinished
	if err != nil {
		e := applyRefusal("apply", err)
		a.Code, a.Text, a.Hint = e.Code, e.Text, e.Hint
	}
	return a
}

func stepOf(what string) string {
	switch what {
	case "undo":
		return "undo"
	case "re-apply":
		return "reapply"
	}
	return "apply"
}

// applyRefusal turns an error of apply into one of the API's.
func applyRefusal(what string, err error) *api.Error {
	var e *apply.Error
	if errors.As(err, &e) && e.Err == nil {
		return api.Errorf(409, e.Code, e.Hint, "%s: %s", what, e.Text)
	}
	if errors.As(err, &e) && e.Code == "store" {
		return api.Errorf(500, e.Code, e.Hint, "%s: %v", what, err)
	}
	return refuse.Of(fmt.Errorf("%s: %w", what, err))
}

func (d *Correction) Busy() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.busy
}

func (d *Correction) Unfinished() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return !d.busy && d.applied.State.Open()
}

// failedHalf reports whether a write failed half way, so that the old map can still be
// written back.
func (d *Correction) failedHalf() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return !d.busy && d.applied.State == store.Failed && d.applied.Half()
}

// InForce is the correction of ours that stands in the printer's map, or nil.
func (d *Correction) InForce() *record.Applied {
	a := d.Now()
	if a.State != store.Kept || d.foreign(a) {
		return nil
	}
	c := a.Correction()
	return &c
}

// Applied says what stands in the printer.
func (d *Correction) Applied() api.Applied {
	d.mu.Lock()
	a, busy, progress := d.applied, d.busy, d.progress
	d.mu.Unlock()
	out := api.Applied{State: api.NoneApplied, Sentence: "No correction is in force."}
	if a.Digest == "" {
		return out
	}
	digest, since := a.Digest, a.At
	out = api.Applied{
		State: api.AppliedState(a.State), Digest: &digest, Proved: a.Proved && a.State == store.Kept, Person: a.Person, Run: a.Run,
		Sentence: appliedSays[a.State],
	}
	if !since.IsZero() {
		out.Since = &since
	}
	if busy {
		out.Progress = progress
		if a.State != store.Writing {
			out.State, out.Sentence = api.Verifying, appliedSays[store.Verifying] // until the printer is given back
		}
	} else if a.State == store.Writing || a.State == store.Verifying {
		out.State, out.Sentence = api.Unfinished, appliedSays[store.Unfinished]
	}
	if a.Undo && busy {
		out.Sentence = "abbed writes the old bed map back."
	}
	if a.State == store.Failed && a.Half() && !busy {
		out.Half = true
		out.Sentence = "Look at the printer, then undo the correction. It is half written. If that fails too, measure the bed map again with the printer."
	}
	if why := d.expiry(a); why != "" {
		out.Expired, out.MeasureAgain = &why, why == printerOther || d.worn(a) != ""
	}
	if out.Expired != nil && a.State == store.Kept {
		out.Sentence = "The correction no longer holds. " + say.Sentence(*out.Expired)
	}
	if a.Says != "" && !a.State.Open() && !busy && out.Expired == nil {
		out.Sentence = a.Says
	}
	if a.State == store.Kept && a.Proved && out.Expired == nil {
		out.Sentence = "The correction is in force and verified."
	}
	if a.Code != "" {
		out.Error = &api.Error{Code: a.Code, Text: a.Text, Hint: a.Hint}
	}
	return out
}

var appliedSays = map[store.State]string{
	store.Writing:    "abbed writes the correction.",
	store.Verifying:  "abbed reads the bed map back and compares.",
	store.Kept:       "The correction is in force, and not verified. Watch the next first layer.",
	store.PutBack:    "The correction is not in force. abbed wrote the old bed map back and checked it.",
	store.Undone:     "The correction is undone. The old bed map is in force again.",
	store.Failed:     "Do not print. The bed map is unknown: measure it again with the printer.",
	store.Unfinished: "Finish the correction or undo it. It may be half written.",
}
