package correction

import (
	"fmt"
	"time"

	"abbed/analysis"
	"abbed/analysis/compare"
	"abbed/daemon/link"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Why a correction expires, beside the tilt that moved, which is said with its
// numbers.
const (
	leverOther   = "the lever from nozzle to probe is another than the correction was made for"
	printerOther = "another printer is at the port than the correction's, or its firmware is another"
	mapAnew      = "the printer measured its bed map again, or it was changed since: the correction is not in it any more"
	mapMixed     = "some nodes of the bed map were changed since, and lack the correction: have the printer measure its bed map again, then re-apply"
)

// mapSays returns why a correction does not hold by what stands in the map, or "".
func mapSays(s record.Standing) string {
	switch s.Whole {
	case record.Everywhere:
		return ""
	case record.Nowhere:
		return mapAnew
	}
	return mapMixed
}

// ofMap reports whether a correction expired by what stands in the map alone, which a
// re-apply mends; earlier versions kept it in other words.
func ofMap(why string) bool {
	return why == mapAnew || why == mapMixed || why == "the bed map was measured or changed since: the correction is not in it any more"
}

// expiryOf gives a reason its short name.
func expiryOf(why string) string {
	switch {
	case why == "":
		return ""
	case why == printerOther:
		return status.ExpiredPrinter
	case why == leverOther:
		return status.ExpiredLever
	case why == mapMixed:
		return status.ExpiredMixed
	case ofMap(why):
		return status.ExpiredMap
	}
	return status.ExpiredTwist
}

// expiry returns why an applied correction no longer holds, or "": its lever is
// another, or a newer run says that the head's tilt moved beyond its doubt, or a later
// run contradicts the one that it was made from, or it is not in the printer's map as it
// was last read.
func (d *Correction) expiry(a store.Applied) string {
	if a.State != store.Kept && !a.State.Open() {
		return ""
	}
	if d.foreign(a) {
		return printerOther
	}
	if a.State != store.Kept {
		return ""
	}
	if why := d.worn(a); why != "" {
		return why
	}
	if f := d.o.Link.Now().Facts; f != nil && f.MapAsked {
		return mapSays(a.Correction().In(f.Map))
	}
	return a.Expired
}

// learnMap keeps what a run's map says of the correction.
func (d *Correction) learnMap(run record.Run) {
	a := d.Now()
	if run.Map == nil || a.State != store.Kept || d.foreign(a) {
		return
	}
	if why := mapSays(a.Correction().In(run.Map.Nodes)); why != a.Expired && (a.Expired == "" || ofMap(a.Expired)) {
		a.At, a.Expired, a.Proved = time.Now(), why, a.Proved && why == ""
		d.saveApplied(a)
	}
	d.o.Link.Learn(func(f *link.Facts) { f.Map, f.MapAsked = run.Map.Nodes, true })
}

// foreign reports whether the printer that answers is another than the one that holds
// the correction: then nothing of it is read from, or written to, what answers.
func (d *Correction) foreign(a store.Applied) bool {
	f := d.o.Link.Now().Facts
	return f != nil && a.Printer != "" && f.Identity.ID != a.Printer
}

// closed closes the correction of a printer that is not there any more.
func (d *Correction) closed(a store.Applied, by string) error {
	a.State, a.Undo, a.Proved, a.Expired, a.Code, a.Text, a.Hint = store.Undone, true, false, "", "", "", ""
	a.At = time.Now()
	a.Says = "The correction of another printer was closed. Nothing was written. Where that printer is used again, have it measure its bed map again first."
	d.o.Audit(by, "close the correction of another printer", a.Digest)
	d.saveApplied(a)
	d.o.Changed()
	return nil
}

// worn returns why the correction itself no longer holds, whatever stands in the
// map: the head is another than the one that it was made for. A re-apply is
// refused then.
func (d *Correction) worn(a store.Applied) string {
	if a.Expired != "" && !ofMap(a.Expired) {
		return a.Expired
	}
	l := d.o.Link.Now()
	if l.Facts == nil {
		return ""
	}
	if k := d.o.Known(l.Facts); k.Has.Lever && k.Setup.Lever != a.Lever {
		return leverOther
	}
	return ""
}

// learnTwist keeps that a newer run found another gap error than the run from
// which the correction in force was made.
func (d *Correction) learnTwist(run record.Run) {
	a := d.Now()
	if a.State != store.Kept || a.Expired != "" && !ofMap(a.Expired) || run.ID == a.Run || run.Ended == nil || run.Ended.State != record.EndDone {
		return
	}
	was, err := d.o.Runs.Judged(a.Run)
	if err != nil || run.Setup.Printer.ID != was.Run.Setup.Printer.ID {
		return
	}
	why := moved(was, d.o.Runs.Judge(run))
	if why == "" {
		return
	}
	a.At, a.Expired, a.Proved = time.Now(), why, false
	d.saveApplied(a)
}

// LearnLater keeps that a later run contradicts the one from which the correction in
// force was made, or met what calls for a repair: too little for a gap error of its own
// may be enough for that.
func (d *Correction) LearnLater() {
	a := d.Now()
	if a.State != store.Kept || a.Expired != "" && !ofMap(a.Expired) {
		return
	}
	was, err := d.o.Runs.Load(a.Run)
	if err != nil || len(was.Joined) == 0 {
		return
	}
	why := d.o.Runs.Judge(was).Verdict.Outdated(was)
	if why == "" {
		return
	}
	a.At, a.Expired, a.Proved = time.Now(), why, false
	d.saveApplied(a)
}

// moved says where the gap error changed most between two runs: beyond the doubt of
// all places together, and by more than half of the tolerance, since less than
// that no first layer shows (compare.Compare). It is "" if nothing did, or where
// the runs cannot be compared.
func moved(was, is analysis.Judged) string {
	c, why := compare.Compare(was, is)
	if why != nil || c.Most == nil {
		return ""
	}
	return fmt.Sprintf("a newer run finds the nozzle error at %s another by %+.3f \u00b1%.3f mm: the head tilts otherwise now", c.Most.Place, c.Most.By, c.Most.U95)
}
