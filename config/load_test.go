package config_test

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/spf13/pflag"

	"abbed/config"
)

// load reads from texts: a file, an environment, a command line.
func load(file string, env []string, args ...string) (config.Settings, error) {
	fs := pflag.NewFlagSet("serve", pflag.ContinueOnError)
	fs.SetOutput(discard{})
	config.AddFlags(fs)
	if err := fs.Parse(args); err != nil {
		return config.Settings{}, err
	}
	if env == nil {
		env = []string{}
	}
	return config.Load(config.Options{
		File: "abbed.yaml", Environ: env, Flags: fs,
		Read: func(string) ([]byte, error) { return []byte(file), nil },
	})
}

type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }

func TestOrder(t *testing.T) {
	const file = "retention: {days: 11, megabytes: 90}\nbaud: 250000\nlever: [-40, 0]\n"
	env := []string{"ABBED_RETENTION_DAYS=13", "ABBED_LEVER=-41,1", "OTHER=x", "ABBED_PORT=", "ABBED_BAUD="}
	for name, try := range map[string]struct {
		file string
		env  []string
		args []string
		want int
		x    float64
	}{
		"default":           {"", nil, nil, 730, 0},
		"file":              {file, nil, nil, 11, -40},
		"environment":       {file, env, nil, 13, -41},
		"flags":             {file, env, []string{"--set", "retention.days=15", "--lever=-42,2"}, 15, -42},
		"flags alone":       {"", nil, []string{"--set", "retention.days=15", "--lever", "-42,2"}, 15, -42},
		"environment alone": {"", env, nil, 13, -41},
	} {
		s, err := load(try.file, try.env, try.args...)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		x := 0.0
		if s.Lever != nil {
			x = s.Lever.X
		}
		if s.Retention.Days != try.want || x != try.x {
			t.Errorf("%s: %d days, lever %v: want %d, %v", name, s.Retention.Days, x, try.want, try.x)
		}
		if try.file != "" && (s.Retention.Megabytes != 90 || s.Baud != 250000) {
			t.Errorf("%s: the rest of the file is lost: %d MB, %d baud", name, s.Retention.Megabytes, s.Baud)
		}
		if s.Survey.BaseEvery != 1 || s.Effort != config.EffortNormal || s.Listen != "127.0.0.1:8077" {
			t.Errorf("%s: the defaults are lost", name)
		}
	}
}

// Each field arrives from each source: a text that is not its default.
func TestEveryFieldFromEverySource(t *testing.T) {
	values := map[string]string{ // key: as text
		"name": "left", "room": "/run/abbed", "check.every": "168h", "check.window": "mon-fri 08:00-18:00", "check.begins": "begin", "check.heat": "true",
		"port": "/dev/ttyACM0", "baud": "250000", "dtr": "off", "hold": "always", "before": "true", "after": "exit 1", "command_limit": "20s", "listen": "localhost:9000", "state": "/s", "socket": "/run/abbed/abbed.sock", "socket_group": "buttons",
		"proof.start": "/start.gcode", "proof.end": "/end.gcode", "desk.pitch": "0.8", "proof.width": "0.6", "proof.filament": "2.85", "proof.retract": "2", "desk.supports": "30,30 205,30 117.5,205",
		"access.from": "proxy", "access.hosts": "printer.example, 192.0.2.4:8077", "access.certificate": "/c.pem", "access.key": "/k.pem", "access.plain": "true",
		"access.proxies": "192.0.2.7", "access.scrapers": "198.51.100.0/24, ::1", "access.scrape_token": "/t",
		"log_level": "debug",
		"bed":       "0,0,235,230", "map_area": "10,10,225,220", "layout": "moving-gantry", "zero_at": "100,110.5", "lever": "-44,-12.5",
		"trigger": "2.25", "travel": "-5,0,240,235", "clearance": "6.5", "layer": "0.25", "attended_starts": "true",
		"silence": "12s", "heat.time": "15m", "idle_off": "10m", "probe.style": "straight", "probe.kind": "inductive", "probe.adds_offset": "false",
		"words.templates": `{touch: "G30 X{x} Y{y}", home: "G28 W"}`, "words.patterns": `{touch: '^(?P<z>-?\d+)$'}`,
		"effort": "thorough", "gauge": "0.05",
		"heat.nozzle": "210", "heat.bed": "60", "heat.nozzle_max": "250", "heat.bed_max": "100",
	}
	for _, f := range config.Fields() {
		if _, own := values[f.Key]; own {
			continue
		}
		// A number inside the range that is not the default.
		switch f.Shape() {
		case "a whole number":
			values[f.Key] = map[bool]string{true: "4", false: "12"}[f.Hi < 12]
		case "a number":
			values[f.Key] = "0.055"
			if f.Hi > 1 {
				values[f.Key] = "12.5"
			}
			if f.Hi < 0.055 {
				values[f.Key] = "0.004"
			}
		default:
			t.Fatalf("%s needs a value in this test", f.Key)
		}
		if f.Key == "feeds.probe" {
			values[f.Key] = "7.5"
		}
	}
	quoted := func(f config.Field, v string) string {
		switch f.Shape() {
		case "a number", "a whole number", "true or false", "texts by name":
			return v
		}
		return `"` + v + `"`
	}
	var file strings.Builder
	var env, args []string
	groups := map[string][]string{}
	for _, f := range config.Fields() {
		v := values[f.Key]
		env = append(env, f.Env()+"="+v)
		if f.Flag != "" {
			args = append(args, "--"+f.Flag+"="+v)
		} else {
			args = append(args, "--set", f.Key+"="+v)
		}
		if group, leaf, ok := strings.Cut(f.Key, "."); ok {
			groups[group] = append(groups[group], "  "+leaf+": "+quoted(f, v))
		} else {
			file.WriteString(f.Key + ": " + quoted(f, v) + "\n")
		}
	}
	for g, lines := range groups {
		file.WriteString(g + ":\n" + strings.Join(lines, "\n") + "\n")
	}
	byFile, err := load(file.String(), nil)
	if err != nil {
		t.Fatalf("file: %v\n%s", err, file.String())
	}
	byEnv, err := load("", env)
	if err != nil {
		t.Fatalf("environment: %v", err)
	}
	byFlag, err := load("", nil, args...)
	if err != nil {
		t.Fatalf("flags: %v", err)
	}
	for name, s := range map[string]*config.Settings{"abbed.yaml:": &byFile, "environment: ABBED_": &byEnv, "flags: --": &byFlag} {
		for _, f := range config.Fields() {
			key := f.Key
			if f.Shape() == "texts by name" {
				key += ".touch"
			}
			if !strings.HasPrefix(s.Given[key], name) {
				t.Errorf("%s was given by %q, want %s...", key, s.Given[key], name)
			}
		}
		s.Given = nil
	}
	if !reflect.DeepEqual(byFile, byEnv) || !reflect.DeepEqual(byFile, byFlag) {
		t.Errorf("file  %+v\nenv   %+v\nflags %+v", byFile, byEnv, byFlag)
	}
	def := config.Default()
	def.Given = map[string]string{}
	def.Repeat, def.Gauging, def.Survey = config.Repeat{Rounds: -1, Move: -1, RowHalf: -1, RowStep: -1, Passes: -1}, config.Gauging{Target: -1, Records: -1, Columns: -1, Rows: -1, Idle: -1}, config.Survey{Target: -1, Columns: -1, Rows: -1, BaseEvery: -1} // of effort
	if same := equalLeaves(reflect.ValueOf(byFile), reflect.ValueOf(def), ""); len(same) > 0 {
		t.Errorf("still at their defaults: %v", same)
	}
	if byFile.Silence != 12*time.Second || byFile.Gauging.Plan != config.PlanThorough || *byFile.Lever != (config.XY{X: -44, Y: -12.5}) ||
		*byFile.Travel != (config.Rect{X0: -5, X1: 240, Y1: 235}) || byFile.Words.Templates["touch"] != "G30 X{x} Y{y}" {
		t.Errorf("wrong values: %+v", byFile)
	}
}

// equalLeaves lists the fields of the structs that are equal in a and b.
func equalLeaves(a, b reflect.Value, path string) []string {
	if a.Kind() != reflect.Struct {
		if reflect.DeepEqual(a.Interface(), b.Interface()) {
			return []string{path}
		}
		return nil
	}
	var out []string
	for i := range a.NumField() {
		out = append(out, equalLeaves(a.Field(i), b.Field(i), path+"."+a.Type().Field(i).Name)...)
	}
	return out
}

// What is wrong, and what the message must say about it.
func TestFaults(t *testing.T) {
	for name, try := range map[string]struct {
		file string
		env  []string
		args []string
		want string
	}{
		"out of range":         {"retention: {days: -2}", nil, nil, "config: read settings: abbed.yaml:1: retention.days = -2: needs 0..36500 days. How long abbed keeps runs"},
		"unknown key":          {"retension: {days: 5}", nil, nil, "abbed.yaml:1: retension: is not a setting"},
		"misspelt":             {"\nclearence: 5", nil, nil, "abbed.yaml:2: clearence: is not a setting; did you mean clearance?"},
		"misspelt below":       {"retention: {dayz: 5}", nil, nil, "retention.dayz: is not a setting; did you mean retention.days?"},
		"in the wrong place":   {"days: 5", nil, nil, "did you mean retention.days?"},
		"capitals":             {"Baud: 115200", nil, nil, "did you mean baud?"},
		"twice":                {"baud: 115200\nbaud: 250000", nil, nil, "abbed.yaml:2: baud: is there twice"},
		"bool for a number":    {"baud: true", nil, nil, "baud = true: is true or false; needs"},
		"text for a number":    {`baud: "115200"`, nil, nil, `baud = "115200": is a text`},
		"point for whole":      {"retention: {days: 7.0}", nil, nil, "retention.days = 7.0: is a number with a point"},
		"number for bool":      {"attended_starts: 1", nil, nil, "attended_starts = 1: is a whole number"},
		"yes for bool":         {"attended_starts: yes", nil, nil, `"yes": is a text`},
		"number for text":      {"port: 5", nil, nil, "port = 5: is a whole number"},
		"duration no unit":     {"silence: 10", nil, nil, "silence = 10: is a whole number; needs"},
		"duration text":        {`silence: "10"`, nil, nil, "is not a duration with a unit"},
		"duration too long":    {"silence: 9999999h", nil, nil, `silence = "9999999h": is longer than any time here; needs 3..120 s`},
		"whole too large":      {"", []string{"ABBED_RETENTION_DAYS=99999999999999999999"}, nil, `ABBED_RETENTION_DAYS = "99999999999999999999": is larger than any number here; needs`},
		"a date":               {"retention: {days: 2026-01-01}", nil, nil, "retention.days = 2026-01-01: is a date; needs"},
		"another tag":          {"retention: {days: !!binary aGk=}", nil, nil, "is of a kind that is not used here (!!binary); needs"},
		"a bell in a text":     {`state: "a\u0007"`, nil, nil, "needs one line, and no characters that cannot be seen"},
		"turned text":          {`state: "a\u202eb"`, nil, nil, `state = "a\u202eb": needs one line, and no characters that cannot be seen`},
		"chosen by abbed now":  {"survey: {columns: 5}", nil, nil, "survey: is no longer a setting: delete it. effort"},
		"set, chosen by abbed": {"", nil, []string{"--set", "criteria.play=0.1"}, "criteria.play: is no longer a setting: delete it"},
		"not a number":         {"clearance: .nan", nil, nil, "clearance"},
		"infinite":             {"clearance: .inf", nil, nil, "clearance"},
		"too big a number":     {"clearance: 1e999", nil, nil, "clearance"},
		"octal":                {"baud: 0o17", nil, nil, "baud = 0o17"},
		"three numbers":        {"bed: 0,0,235", nil, nil, "has 3 numbers, needs 4"},
		"list with text":       {"bed: [0, 0, 235, x]", nil, nil, "entry 4 is a text"},
		"list too short":       {"lever: [1]", nil, nil, "is not a list of 2 numbers"},
		"turned bed":           {"bed: [235, 0, 0, 235]", nil, nil, "X0 < X1"},
		"map beside the bed":   {"bed: [0, 0, 100, 100]\nmap_area: [200, 0, 300, 90]", nil, nil, "map_area = 200,0,300,90: lies beside the bed 0,0,100,100"},
		"zero beside the bed":  {"bed: [0, 0, 100, 100]\nzero_at: [200, 0]", nil, nil, "zero_at"},
		"tip below clearance":  {"trigger: 4.5", nil, nil, "clearance = 5: needs at least trigger + 1 = 5.5 mm"},
		"too hot":              {"heat: {nozzle: 300}", nil, nil, "heat.nozzle = 300: is above heat.nozzle_max = 260"},
		"bad pattern":          {"words: {patterns: {touch: '('}}", nil, nil, "words.patterns.touch"},
		"two-line template":    {`words: {templates: {touch: "G30\nM112"}}`, nil, nil, "words.templates.touch"},
		"template not a text":  {`words: {templates: {touch: 30}}`, nil, nil, "words.templates.touch = 30: is a whole number"},
		"template in caps":     {`words: {templates: {Touch: "G30"}}`, nil, nil, "needs a name of small letters"},
		"no price":             {"name: 5\nbaud: true", nil, nil, "name = 5: is a whole number; needs text. What the page calls this printer"},
		"a group is a value":   {"retention: 5", nil, nil, "retention = 5: needs keys"},
		"a value is a group":   {"baud: {a: 5}", nil, nil, "baud = a mapping: is not a single value"},
		"two screws":           {`desk: {supports: "30,30 205,30"}`, nil, nil, `desk.supports = "30,30 205,30": give x,y in mm of three or more screws`},
		"no screws":            {`desk: {supports: "30,30 205,30 a,b"}`, nil, nil, `desk.supports = "30,30 205,30 a,b": give x,y in mm of three or more screws`},
		"screws far away":      {`desk: {supports: "30,30 205,30 117.5,2050"}`, nil, nil, "desk.supports"},
		"not YAML":             {"a: [", nil, nil, "abbed.yaml: YAML: line 1"},
		"two documents":        {"baud: 1200\n---\nbaud: 2400", nil, nil, "more than one document"},
		"a list at the top":    {"- a", nil, nil, "a list of 1: needs keys"},
		"alias":                {"baud: &b 115200\nclearance: *b", nil, nil, "an alias (*b)"},
		"merge key":            {"<<: {baud: 1200}", nil, nil, "<<: is not a setting"},
		"bad listen":           {"listen: 127.0.0.1", nil, nil, "listen"},
		"listen port":          {"listen: 127.0.0.1:99999", nil, nil, "listen"},
		"bad tcp":              {"port: tcp://host", nil, nil, "needs tcp://host:port"},
		"bad scheme":           {"port: http://host:1", nil, nil, "needs a device"},
		"control character":    {`port: "/dev/x\n"`, nil, nil, "port"},
		"bad layout":           {"layout: hanging", nil, nil, "needs moving-bed, moving-gantry"},
		"unknown variable":     {"", []string{"ABBED_RETENTION_DAY=5"}, nil, "environment: ABBED_RETENTION_DAY: names no setting; unset it, or did you mean ABBED_RETENTION_DAYS?"},
		"variable wrong":       {"", []string{"ABBED_BAUD=fast"}, nil, `environment: ABBED_BAUD = "fast": is not a whole number`},
		"variable range":       {"", []string{"ABBED_BAUD=5"}, nil, "environment: ABBED_BAUD: baud = 5: needs 1200..4000000"},
		"variable bool":        {"", []string{"ABBED_ATTENDED_STARTS=1"}, nil, "is neither true nor false"},
		"variable hex":         {"", []string{"ABBED_CLEARANCE=0x1p3"}, nil, "is not a finite number"},
		"variable mapping":     {"", []string{"ABBED_WORDS_TEMPLATES=G30"}, nil, "is not a mapping"},
		"set without value":    {"", nil, []string{"--set", "baud"}, "needs key=value"},
		"set unknown":          {"", nil, []string{"--set", "bauds=5"}, "did you mean baud?"},
		"set range":            {"", nil, []string{"--set", "retention.days=-1"}, "flags: --set retention.days: retention.days = -1: needs 0..36500"},
		"set and flag":         {"", nil, []string{"--set", "clearance=6", "--clearance=7"}, "is also set by flags: --set clearance; give it once"},
		"the last one speaks":  {"clearance: 0.1", []string{"ABBED_CLEARANCE=0.2"}, []string{"--clearance=0.3"}, "flags: --clearance: clearance = 0.3"},
		"flag wrong":           {"", nil, []string{"--bed", "1,2,3"}, "has 3 numbers"},
		"flag range":           {"", nil, []string{"--clearance", "0.2"}, "flags: --clearance: clearance = 0.2: needs 1..50 mm"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := load(try.file, try.env, try.args...)
			if err == nil {
				t.Fatal("no error")
			}
			if !strings.Contains(err.Error(), try.want) {
				t.Errorf("says   %v\nwant  ...%s", err, try.want)
			}
		})
	}
}

// All faults of all sources come at once, one line each.
func TestAllAtOnce(t *testing.T) {
	_, err := load("baud: 1\nbauds: 2\nlayout: x\n", []string{"ABBED_X=1", "ABBED_CLEARANCE=900"}, "--set", "retention.days=90000")
	var e *config.Error
	if !errors.As(err, &e) {
		t.Fatalf("%v is no *config.Error", err)
	}
	if len(e.Faults) != 6 {
		t.Errorf("%d faults, want 6:\n%v", len(e.Faults), err)
	}
	if got := strings.Count(err.Error(), "\n") + 1; got != 6 {
		t.Errorf("%d lines", got)
	}
}

func TestValidate(t *testing.T) {
	if f := config.Default().Validate(); len(f) > 0 {
		t.Errorf("the defaults are wrong: %v", f)
	}
	nan := 0.0
	nan /= nan
	s := config.Default()
	s.Clearance, s.Trigger, s.Bed = nan, &nan, &config.Rect{X1: nan, Y1: 5}
	s.Silence = -1
	s.ZeroAt = &config.XY{X: nan}
	got := map[string]bool{}
	for _, f := range s.Validate() {
		got[f.Field] = true
		if f.Hint == "" || f.Value == "" {
			t.Errorf("%+v says too little", f)
		}
	}
	for _, want := range []string{"clearance", "trigger", "bed", "silence", "zero_at"} {
		if !got[want] {
			t.Errorf("%s is let through; faults in %v", want, got)
		}
	}
}

func TestFile(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "a.yaml")
	if err := os.WriteFile(file, []byte("baud: 250000\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := config.Load(config.Options{Environ: []string{"ABBED_CONFIG=" + file, "XDG_STATE_HOME=/x"}})
	if err != nil || s.Baud != 250000 || s.State != "/x/abbed" {
		t.Errorf("by ABBED_CONFIG: %+v %v", s, err)
	}
	fs := pflag.NewFlagSet("", pflag.ContinueOnError)
	config.AddFlags(fs)
	if err := fs.Parse([]string{"--config", file}); err != nil {
		t.Fatal(err)
	}
	s, err = config.Load(config.Options{Environ: []string{"ABBED_CONFIG=/none", "ABBED_TOKEN=x"}, AlsoEnv: []string{"ABBED_TOKEN"}, Flags: fs})
	if err != nil || s.Baud != 250000 || s.State != "abbed-state" {
		t.Errorf("by --config: %+v %v", s, err)
	}
	big := filepath.Join(dir, "big.yaml")
	if err := os.WriteFile(big, make([]byte, 2<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{filepath.Join(dir, "none.yaml"), dir, "/dev/zero", big} {
		if _, err := config.Load(config.Options{File: bad, Environ: []string{}}); err == nil || !strings.Contains(err.Error(), bad) {
			t.Errorf("%s: %v", bad, err)
		}
	}
}

func TestStateDir(t *testing.T) {
	for want, env := range map[string][]string{
		"/var/lib/abbed":        {"STATE_DIRECTORY=/var/lib/abbed:/other", "XDG_STATE_HOME=/x", "HOME=/h"},
		"/x/abbed":              {"XDG_STATE_HOME=/x", "HOME=/h"},
		"/h/.local/state/abbed": {"XDG_STATE_HOME=relative", "HOME=/h"},
		"abbed-state":           {},
	} {
		if got := config.StateDir(env); got != want {
			t.Errorf("%v: %s, want %s", env, got, want)
		}
	}
}

// The flags of the contract and --baud, and no others.
func TestFlags(t *testing.T) {
	fs := pflag.NewFlagSet("", pflag.ContinueOnError)
	config.AddFlags(fs)
	var got []string
	fs.VisitAll(func(f *pflag.Flag) { got = append(got, f.Name) })
	want := []string{"baud", "bed", "clearance", "config", "layout", "lever", "listen", "map-area", "port", "set", "state", "travel", "trigger", "zero-at"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("flags %v, want %v", got, want)
	}
	few := pflag.NewFlagSet("", pflag.ContinueOnError)
	config.AddFlags(few, "lever", "bed")
	if few.Lookup("lever") == nil || few.Lookup("port") != nil || few.Lookup("set") != nil {
		t.Error("a choice of flags is not kept")
	}
}

// No two settings share a name in the environment.
func TestEnvNames(t *testing.T) {
	seen := map[string]string{"ABBED_CONFIG": "--config"}
	for _, f := range config.Fields() {
		if other, twice := seen[f.Env()]; twice {
			t.Errorf("%s is %s and %s", f.Env(), f.Key, other)
		}
		seen[f.Env()] = f.Key
	}
}

func FuzzFile(f *testing.F) {
	f.Add([]byte("survey: {columns: 11}\nbed: 0,0,1,1\n"))
	f.Add([]byte("a: &a [*a]\n"))
	f.Add([]byte("words: {templates: {x: \"G30\"}}"))
	f.Add([]byte("silence: 10s\nlever: [1e308, -.inf]\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := load(string(b), nil)
		if err != nil {
			if e := new(config.Error); !errors.As(err, &e) || len(e.Faults) == 0 {
				t.Fatalf("%v is no *config.Error", err)
			}
			return
		}
		if f := s.Validate(); len(f) > 0 {
			t.Fatalf("loaded, but %v", f)
		}
	})
}
