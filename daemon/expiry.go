package daemon

import (
	"fmt"
	"time"

	"abbed/analysis"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Why a correction expires, beside the tilt that moved, which is said with its
// numbers.
const (
	leverOther = "the lever from nozzle to probe is another than the one that the correction was made for"
	// mapAnew is kept when a run finds that the printer measured its map anew;
	// mapOther is what the printer's own answer says.
	mapAnew  = "the stored map was measured or changed since: the correction is not in it any more"
	mapOther = "the printer's stored map is another than the one that the correction was written into: it was measured anew or changed since"
)

// expiryOf gives a reason its short name.
func expiryOf(why string) string {
	switch why {
	case "":
		return ""
	case leverOther:
		return status.ExpiredLever
	case mapAnew, mapOther:
		return status.ExpiredMap
	}
	return status.ExpiredTwist
}

// worn returns why the correction itself no longer holds, whatever stands in the
// map: the head is another than the one that it was made for. A re-apply is
// refused then.
func (d *Daemon) worn(a store.Applied) string {
	if a.Expired != "" && a.Expired != mapAnew {
		return a.Expired
	}
	l := d.link.now()
	if l.facts == nil {
		return ""
	}
	if k := d.know(l.facts); k.has.lever && k.setup.Lever != a.Lever {
		return leverOther
	}
	return ""
}

// learnTwist keeps that a newer run found another gap error than the run from
// which the correction in force was made.
func (d *Daemon) learnTwist(run record.Run) {
	d.mu.Lock()
	a := d.applied
	d.mu.Unlock()
	if a.State != store.Kept || a.Expired != "" && a.Expired != mapAnew || run.ID == a.Run || run.Ended == nil || run.Ended.State != record.EndDone {
		return
	}
	was, err := d.judged(a.Run)
	if err != nil || run.Setup.Printer.ID != was.run.Setup.Printer.ID {
		return
	}
	why := moved(was, d.judge(run))
	if why == "" {
		return
	}
	a.At, a.Expired, a.Proved = time.Now(), why, false
	d.saveApplied(a)
}

// learnLater keeps that a later run contradicts the one from which the correction in
// force was made, or met what calls for a repair: too little for a gap error of its own
// may be enough for that.
func (d *Daemon) learnLater() {
	d.mu.Lock()
	a := d.applied
	d.mu.Unlock()
	if a.State != store.Kept || a.Expired != "" && a.Expired != mapAnew {
		return
	}
	was, err := d.load(a.Run)
	if err != nil || len(was.Joined) == 0 {
		return
	}
	why := d.judge(was).verdict.Outdated(was)
	if why == "" {
		return
	}
	a.At, a.Expired, a.Proved = time.Now(), why, false
	d.saveApplied(a)
}

// moved says where the gap error changed most between two runs: beyond the doubt of
// all places together, and by more than half of the tolerance, since less than
// that no first layer shows (analysis.Compare). It is "" if nothing did, or where
// the runs cannot be compared.
func moved(was, is judged) string {
	c, why := analysis.Compare(analysis.Judged{Run: was.run, Verdict: was.verdict}, analysis.Judged{Run: is.run, Verdict: is.verdict})
	if why != nil || c.Most == nil {
		return ""
	}
	return fmt.Sprintf("a newer run finds the gap error at %s another by %+.3f \u00b1 %.3f mm, which is beyond the doubt of both: the head tilts otherwise now", c.Most.Place, c.Most.By, c.Most.U95)
}
