package known

import (
	"slices"

	"abbed/daemon/api"
	"abbed/daemon/link"
	"abbed/probe/record"
)

// order is the order in which steps run.
var order = []record.Step{
	record.StepRepeat, record.StepGauging, record.StepSurvey,
	record.StepPlateTurn, record.StepCoupons, record.StepAngles, record.StepReference,
}

// besides names the step beside which alone a step tells anything.
var besides = map[record.Step]record.Step{
	record.StepPlateTurn: record.StepSurvey, record.StepCoupons: record.StepGauging, record.StepAngles: record.StepGauging,
}

// Steps says which steps can be done and why not.
func Steps(k Known, l link.State) map[string]api.Can {
	out := map[string]api.Can{}
	for _, s := range order {
		switch {
		case l.Facts == nil:
			out[string(s)] = cannot(l.Text)
		case k.Missing != "":
			out[string(s)] = cannot(k.Missing)
		case l.Link != api.Ready && l.Link != api.Resting:
			out[string(s)] = cannot(l.Text)
		default:
			out[string(s)] = api.Can{Can: true}
		}
	}
	out["table"] = api.Can{Can: true}
	if k.NoTable != "" {
		out["table"] = cannot(k.NoTable)
	}
	return out
}

func cannot(why string) api.Can { return api.Can{WhyNot: why} }

// InOrder returns the asked steps in their order, once each, or a refusal.
func InOrder(asked []string, can map[string]api.Can) ([]record.Step, error) {
	if len(asked) == 0 {
		return nil, api.Errorf(422, "bad-value", `for the whole job: {"steps":["repeat","gauging","survey"]}`, "start a run: no steps are asked for")
	}
	for _, a := range asked {
		if !slices.Contains(order, record.Step(a)) {
			return nil, api.Errorf(422, "unknown-step", "the printer's steps list them", "start a run: no step %q", a)
		}
	}
	var out []record.Step
	for _, s := range order {
		if !slices.Contains(asked, string(s)) {
			continue
		}
		if c := can[string(s)]; !c.Can {
			return nil, api.Errorf(409, "cannot", c.WhyNot, "start a run: the step %s cannot be done", s)
		}
		if b := besides[s]; b != "" && !slices.Contains(asked, string(b)) {
			return nil, api.Errorf(422, "step-alone", "ask for both", "start a run: the step %s tells nothing without the step %s in the same run", s, b)
		}
		out = append(out, s)
	}
	return out, nil
}
