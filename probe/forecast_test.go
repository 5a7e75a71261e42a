package probe_test

import (
	"strings"
	"testing"

	"abbed/probe"
	"abbed/probe/record"
)

// TestSurveyIsBehind: a survey that was done is no longer foretold, neither in words
// nor in what is left, while one more place is gauged after it.
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
	run.Finished = append(run.Finished, record.StepGauging, record.StepSurvey)
	after := probe.Foresee(run, probe.DefaultPlan())
	if after.Survey != nil || strings.Contains(after.Says(), "Survey: ") || after.Left != 0 {
		t.Errorf("after the survey: %+v: %s", after, after.Says())
	}
}
