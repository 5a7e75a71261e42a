package api

import (
	"context"
	"reflect"
	"strconv"
	"strings"
	"sync"
)

// Verbs is the API, a line for each verb: what goes in and comes out are Go types, all
// else stands in the tag. Routes, description and client are made from it; a field is
// answered by the method of Desk of the same name. What the tags say:
//
//	verb      method and path; each {name} of it is a string among the arguments, in order
//	order     their order among the arguments, where it is another
//	id        operationId; else the field's name
//	status    of the answer; else 200
//	summary   in a line, about: more of it; says: what the answer is, else the summary
//	then      the verb whose answer is given, where this one has none
//	refusals  statuses of its own refusals; what all have in common is added
//	free      no token is needed on loopback; so is every GET
//	slow      the answer may take as long as a move of the machine
//	lasting   it goes on when the asker hangs up
//
// A struct among the arguments is the body, or the query if it can ReadQuery.
type Verbs struct {
	Printer  func(ctx context.Context) (Printer, error)     `verb:"GET /api/v1/printer" summary:"What is known of the printer, and which steps can be done." says:"The printer."`
	OpenPort func(ctx context.Context, o Open) error        `verb:"POST /api/v1/printer/open" status:"202" then:"Printer" says:"The port is being opened." refusals:"409,503" summary:"Give a person's word that the port may be opened." about:"Opening the port of a real device may reset the board, and kill a print that runs from the printer's own storage."`
	Check    func(ctx context.Context) (Check, error)       `verb:"GET /api/v1/check" says:"The calendar." summary:"When the next check is due." about:"The calendar asks for a check when it is due (settings check.every and those beside it)."`
	Room     func(ctx context.Context) ([]Neighbour, error) `verb:"GET /api/v1/room" says:"By their names." summary:"The printers that are known to this machine." about:"Those whose daemons have the same directory in the setting room."`

	Runs      func(ctx context.Context) ([]Run, error)                         `verb:"GET /api/v1/runs" says:"The runs." summary:"All runs, newest first."`
	StartRun  func(ctx context.Context, n NewRun) (Run, error)                 `verb:"POST /api/v1/runs" status:"201" says:"The run, waiting for its cautions." refusals:"404,409,503" summary:"Ask for a run." about:"The steps run in the order repeat, gauging, survey, plate-turn, coupons, angles, reference, whatever the order asked. plate-turn needs survey in the same run, coupons and angles need gauging. The run waits until its cautions are confirmed; nothing moves before."`
	Run       func(ctx context.Context, id string) (Run, error)                `verb:"GET /api/v1/runs/{id}" says:"The run." refusals:"404" summary:"The state of a run."`
	RunEvents func(ctx context.Context, id string) (Run, error)                `verb:"GET /api/v1/runs/{id}/events" refusals:"404" summary:"A run as server-sent events." about:"The data of each event is the JSON of the run, its id the number of the run's last event; Last-Event-ID resumes. The stream ends when the run is over; 204 to whoever comes back then."`
	Confirm   func(ctx context.Context, id string, c Confirm) error            `verb:"POST /api/v1/runs/{id}/confirm" id:"confirmRun" status:"202" then:"Run" says:"The run has begun." refusals:"404,409,503" summary:"Give a person's word on the cautions; the run begins."`
	Withdraw  func(ctx context.Context, id string) error                       `verb:"POST /api/v1/runs/{id}/withdraw" then:"Run" says:"The run." refusals:"404,409" summary:"Give up a run that no one has confirmed." about:"Nothing goes to the printer; the run is then stopped. A run that has begun ends by the stop request."`
	Answer    func(ctx context.Context, id string, a AnswerPrompt) error       `verb:"POST /api/v1/runs/{id}/answer" id:"answerPrompt" status:"202" slow:"yes" then:"Run" says:"The answer was taken." refusals:"404,409,503" summary:"Answer the prompt of a run." about:"Where the prompt has a value, a yes needs one within its bounds: the thickness of a printed patch or of a reference, an angle. 422 bad-value: the prompt stays."`
	Gauge     func(ctx context.Context, id string, a GaugeAction) (Run, error) `verb:"POST /api/v1/runs/{id}/gauge" slow:"yes" says:"The run, after the move." refusals:"404,409,503" summary:"Say what is felt at the feeler gauge." about:"loose, drags or tight; the machine picks the step, and the answer comes when the move has ended. drags is a reading where the nozzle came from above; else it goes up, to come down again. loose at the floor is refused (422 past-floor): the run goes on with a point half way, or ends. next is answered at once, and the move goes on. One act at a time is taken: 409 while another is carried out."`
	Stop      func(ctx context.Context, s AskStop) (StopAnswer, error)         `verb:"POST /api/v1/stop" status:"202" free:"yes" lasting:"yes" says:"What became of it." refusals:"409,503" summary:"Stop what goes on, at once." about:"It is never queued behind a command, and reads no body. It belongs to what goes on now (Printer.going): where nothing of abbed's goes on, nothing is sent, and a run that waits for its confirmation is withdrawn. A request that cannot be delivered is dropped. It is no emergency stop, and it may let Z sink."`

	Record   func(ctx context.Context, id string) (Record, error)                `verb:"GET /api/v1/runs/{id}/record" refusals:"404,409" summary:"Every touch and gauging, with the settings and the printer's identity."`
	Analysis func(ctx context.Context, id string) (Analysis, error)              `verb:"GET /api/v1/runs/{id}/analysis" refusals:"404,409" summary:"What the run tells."`
	Gap      func(ctx context.Context, id string, a AskGap) ([]Gap, error)       `verb:"POST /api/v1/runs/{id}/gap" free:"yes" says:"One for each point, in their order." refusals:"404,409" summary:"The predicted nozzle error at points." about:"Against the zero point, with the 95 % half width; null with the reason outside the gauged area. This is reading."`
	Table    func(ctx context.Context, id string) (Table, error)                 `verb:"GET /api/v1/runs/{id}/table" refusals:"404,409" summary:"The correction, or why there is none."`
	History  func(ctx context.Context) (History, error)                          `verb:"GET /api/v1/history" says:"The history." summary:"What the runs of this printer tell of its head, the oldest first." about:"Each run is compared with the one before it that tells the same angle. The latest fifty runs that were done; a proof is none."`
	Compare  func(ctx context.Context, before, after string) (Comparison, error) `verb:"GET /api/v1/runs/{id}/since/{earlier}" order:"earlier,id" id:"since" says:"What changed." refusals:"404,409" summary:"What changed since an earlier run." about:"Twist or pitch, scatter, play, level, the nozzle error at places of both, the findings, and how warm both were: each with its doubt, and what cannot be compared with the reason. The 95 % half width of a difference has the degrees of freedom of Welch and Satterthwaite. Runs of two printers are refused: 409 not-comparable."`
	Levers   func(ctx context.Context, id string, a AskLevers) (Levers, error)   `verb:"GET /api/v1/runs/{id}/levers" says:"One for each lever, in their order." refusals:"404,409,422" summary:"The nozzle error that this machine would have with the probe mounted elsewhere." about:"Only what the run's own lever can tell: the line from the nozzle through it. Everything else is refused, with what to measure."`

	Repair     func(ctx context.Context, id string, a AskRepair) (Repair, error)      `verb:"GET /api/v1/runs/{id}/repair" says:"The repair desk." refusals:"404,409,422" summary:"What a person can do with tools: shim, rails, screws of the bed, what to look for by hand." about:"One step at a time, in the order in which to do them, each with what to measure after it. An act stands there only where it is known to help."`
	ProofPrint func(ctx context.Context, a AskPrint) (ProofPrint, error)              `verb:"GET /api/v1/proof-print" says:"The file." refusals:"404,409,422" summary:"The file of a proof print, with its worksheet." about:"Single-layer patches by the owner's settings (proof.*), over what the run has gauged, or over the reach. Nothing is sent to the printer."`
	Thickness  func(ctx context.Context, id string, t Thickness) (Proof, error)       `verb:"POST /api/v1/runs/{id}/thickness" says:"What they verify." refusals:"404,409,422" summary:"Micrometer readings of a proof print, and what they verify." about:"They are kept with the run. Without a correction in force they join its fit as direct readings of the gap; with one they show what it left."`
	Readings   func(ctx context.Context, id string, r Readings) (ReadingsKept, error) `verb:"POST /api/v1/runs/{id}/readings" says:"What was kept, and what it tells." refusals:"404,409,422" summary:"What a person read from instruments of their own, after the run." about:"Printed patches, the tilt of the head, touches along a straight reference: kept with the run, and joined to its fit as far as they do not contradict it. Of each quantity, and of references, the latest list counts: give all readings of one at once."`

	SignOff func(ctx context.Context, digest string, s SignOff) (SignedOff, error) `verb:"POST /api/v1/tables/{digest}/signoff" says:"A token for this digest only, for one use." refusals:"404,409,503" summary:"Give a person's word on the cautions of one exact table."`
	Apply   func(ctx context.Context, digest string, a Apply) error                `verb:"POST /api/v1/tables/{digest}/apply" status:"202" lasting:"yes" then:"Applied" says:"It has begun." refusals:"404,409,503" summary:"Write a table that was approved." about:"Writes, reads back, compares, keeps; on any difference the old map is put back."`
	Applied func(ctx context.Context) (Applied, error)                             `verb:"GET /api/v1/applied" says:"What stands." summary:"What stands in the printer."`
	Undo    func(ctx context.Context) error                                        `verb:"POST /api/v1/applied/undo" status:"202" lasting:"yes" then:"Applied" says:"It has begun." refusals:"404,409,503" summary:"Put back the map that stood there before." about:"Kept, if the apply was kept."`
	Reapply func(ctx context.Context) error                                        `verb:"POST /api/v1/applied/reapply" status:"202" lasting:"yes" then:"Applied" says:"It has begun." refusals:"404,409,503" summary:"Put the signed-off correction onto a newly measured map." about:"Refused unless the new map lies within the limits of a correction from the old one, the correction has not expired, and no one else uses the printer."`
	Prove   func(ctx context.Context) (Run, error)                                 `verb:"POST /api/v1/applied/prove" status:"201" says:"The run." refusals:"409,503" summary:"Open a run that gauges the nozzle with the correction in force." about:"At the node where the correction lowers the nozzle most. It waits for a person's confirmation, like every run."`
	Resolve func(ctx context.Context, r Resolve) error                             `verb:"POST /api/v1/applied/resolve" status:"202" lasting:"yes" then:"Applied" says:"It has begun." refusals:"404,409,503" summary:"Decide what becomes of an apply or undo that was cut off, and have put back what is owed." about:"take-back also writes the old map back where a write failed half way. Where nothing is half written but a run could not put back what it switched off (printer's owed), either choice homes the machine and puts that back."`
}

// Verb is one line of Verbs, read.
type Verb struct {
	Name, ID, Method, Path string
	// Params are the names in Path, in the order of the arguments.
	Params               []string
	Summary, Says, About string
	Status               int
	Refusals             []int
	Then                 string
	Free, Slow, Lasting  bool
	// In is the type of body or query, nil if the verb takes neither; Query says which.
	// Out is that of the answer.
	In, Out reflect.Type
	Query   bool
}

// VerbTable reads Verbs: a Verb for each field, in their order.
var VerbTable = sync.OnceValue(func() []Verb {
	t := reflect.TypeFor[Verbs]()
	out := make([]Verb, t.NumField())
	at := map[string]int{}
	for i := range out {
		out[i] = verbOf(t.Field(i))
		at[out[i].Name] = i
	}
	for i := range out {
		if out[i].Then != "" {
			out[i].Out = out[at[out[i].Then]].Out
		}
	}
	return out
})

// verbOf reads one field.
func verbOf(f reflect.StructField) Verb {
	tag := f.Tag
	v := Verb{
		Name: f.Name, ID: tag.Get("id"), Summary: tag.Get("summary"), Says: tag.Get("says"), About: tag.Get("about"),
		Status: 200, Then: tag.Get("then"), Slow: tag.Get("slow") != "", Lasting: tag.Get("lasting") != "",
	}
	v.Method, v.Path, _ = strings.Cut(tag.Get("verb"), " ")
	v.Free = v.Method == "GET" || tag.Get("free") != ""
	if v.ID == "" {
		v.ID = strings.ToLower(v.Name[:1]) + v.Name[1:]
	}
	if v.Says == "" {
		v.Says = v.Summary
	}
	if n, err := strconv.Atoi(tag.Get("status")); err == nil {
		v.Status = n
	}
	for _, s := range strings.Split(tag.Get("refusals"), ",") {
		if n, err := strconv.Atoi(s); err == nil {
			v.Refusals = append(v.Refusals, n)
		}
	}
	for _, part := range strings.Split(v.Path, "{")[1:] {
		v.Params = append(v.Params, part[:strings.IndexByte(part, '}')])
	}
	if order := tag.Get("order"); order != "" {
		v.Params = strings.Split(order, ",")
	}
	if last := f.Type.In(f.Type.NumIn() - 1); f.Type.NumIn() > 1 && last.Kind() == reflect.Struct {
		v.In = last
		v.Query = reflect.PointerTo(last).Implements(reflect.TypeFor[QueryReader]())
	}
	if f.Type.NumOut() > 1 {
		v.Out = f.Type.Out(0)
	}
	return v
}
