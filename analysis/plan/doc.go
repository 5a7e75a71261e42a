// Package plan says where a run measures before it does: Sparse are the points of the
// gauging, PlanSurvey the survey that a wanted half width needs, TouchTime and RecordTime
// how long they take. Which point helps next is analysis.Advise. Lengths are mm.
package plan
