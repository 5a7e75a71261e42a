package probe_test

import (
	"strings"
	"testing"

	"abbed/probe"
	"abbed/probe/record"
)

// TestSurveyIsBehind: a survey that is under way is no longer in the words and in what
// is left, since it has a progress of its own; one that was done is foretold no more,
// while one more place is gauged after it.
func TestSurveyIsBehind(t *testing.T) {
	run := record.Run{
		Steps: []record.Step{record.StepRepeat, record.StepGauging, record.StepSurvey},
		Setup: record.Setup{Criteria: record.DefaultCriteria(), Trigger: 3, TriggerKnown: true, Lever: record.Lever{Y: 30},
			Reach: record.Rect{X0: 10, Y0: 10, X1: 210, Y1: 210}, Zero: record.Place{U: 110, V: 110}},
		Step:     record.StepGauging,
		Finished: []record.Step{record.StepRepeat},
	}
	before := probe.Foresee(run, probe.DefaultPlan())
	if before.Survey == nil || !strings.Contains(before.Says(), "Survey: ") || before.Left < before.Survey.Time {
		t.Fatalf("before the survey: %+v: %s", before, before.Says())
	}
	run.Step, run.Finished = record.StepSurvey, append(run.Finished, record.StepGauging)
	during := probe.Foresee(run, probe.DefaultPlan())
	if during.Survey == nil || strings.Contains(during.Says(), "Survey: ") || during.Left != 0 {
		t.Errorf("during the survey: %+v: %s", during, during.Says())
	}
	run.Step, run.Finished = record.StepGauging, append(run.Finished, record.StepSurvey)
	after := probe.Foresee(run, probe.DefaultPlan())
	if after.Survey != nil || strings.Contains(after.Says(), "Survey: ") || after.Left != 0 {
		t.Errorf("after the survey: %+v: %s", after, after.Says())
	}
}
