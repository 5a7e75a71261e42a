package port_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"abbed/gcode/port"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// terminal gives a pseudo-terminal: its far end, and the name of the near one.
func terminal(t *testing.T) (far *os.File, name string) {
	t.Helper()
	far, near, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { far.Close(); near.Close() })
	return far, near.Name()
}

func open(t *testing.T, name string, baud int) *port.Port {
	t.Helper()
	p, err := port.Open(context.Background(), port.Spec{Name: name, Baud: baud})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// The terminal is raw both ways: no echo, no rewritten line ends, every byte.
func TestEveryBytePasses(t *testing.T) {
	far, name := terminal(t)
	p := open(t, name, 250000)
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for _, way := range []struct {
		name string
		from io.Writer
		to   io.Reader
	}{{"out", p, far}, {"in", far, p}} {
		if _, err := way.from.Write(all); err != nil {
			t.Fatal(err)
		}
		got := make([]byte, 256)
		if _, err := io.ReadFull(way.to, got); err != nil || !bytes.Equal(got, all) {
			t.Errorf("%s: %v, % x", way.name, err, got)
		}
	}
}

// Rates are really set, usual ones and others.
func TestRates(t *testing.T) {
	far, name := terminal(t)
	for _, baud := range []int{0, 57600, 115200, 250000, 500000, 123456} {
		p := open(t, name, baud)
		got, err := unix.IoctlGetTermios(int(far.Fd()), unix.TCGETS2)
		want := uint32(baud)
		if baud == 0 {
			want = port.DefaultBaud
		}
		if err != nil || got.Ospeed != want {
			t.Errorf("rate %d: %v %v", baud, got.Ospeed, err)
		}
		if got.Cflag&unix.HUPCL != 0 {
			t.Error("HUPCL is set: closing would drop DTR")
		}
		p.Close()
	}
	if _, err := port.Open(context.Background(), port.Spec{Name: name, Baud: -1}); err == nil {
		t.Error("a negative rate is taken")
	}
}

func TestKind(t *testing.T) {
	_, name := terminal(t)
	link := filepath.Join(t.TempDir(), "printer")
	if err := os.Symlink(name, link); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		want port.Sort
	}{{name, port.Terminal}, {link, port.Terminal}, {"tcp://host:1", port.Network}, {"/dev/null", port.Device}, {"/dev/not-here", port.Device}} {
		if got := port.Kind(c.name); got != c.want {
			t.Errorf("%s is a %v", c.name, got)
		}
	}
	if p := open(t, link, 0); p.Kind() != port.Terminal || p.Name() != link {
		t.Errorf("%v %s", p.Kind(), p.Name())
	}
}

// Close ends a read that waits, soon; afterwards everything says closed.
func TestCloseEndsARead(t *testing.T) {
	_, name := terminal(t)
	p := open(t, name, 0)
	read := make(chan error, 1)
	go func() { _, err := p.Read(make([]byte, 10)); read <- err }()
	time.Sleep(20 * time.Millisecond)
	began := time.Now()
	if err := p.Close(); err != nil {
		t.Error(err)
	}
	if err := <-read; !errors.Is(err, os.ErrClosed) || time.Since(began) > 2*time.Second {
		t.Errorf("%v after %v", err, time.Since(began))
	}
	if _, err := p.Write([]byte("G28\n")); !errors.Is(err, os.ErrClosed) {
		t.Error(err)
	}
	if _, err := p.Read(make([]byte, 1)); !errors.Is(err, os.ErrClosed) {
		t.Error(err)
	}
	if err := p.Close(); err != nil {
		t.Error(err)
	}
}

// Trap 1: a write after Close never reaches a file that got the descriptor.
func TestWriteAfterCloseReachesNoFile(t *testing.T) {
	_, name := terminal(t)
	p := open(t, name, 0)
	p.Close()
	var files []*os.File
	for range 16 {
		f, err := os.Create(filepath.Join(t.TempDir(), "f"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		files = append(files, f)
	}
	p.Write([]byte("G28\n"))
	p.DiscardOutput()
	for _, f := range files {
		if st, _ := f.Stat(); st.Size() != 0 {
			t.Errorf("%s holds %d bytes", f.Name(), st.Size())
		}
	}
}

// Trap 2: a write that waits ends at its deadline, and at Close.
func TestAWriteThatWaitsEnds(t *testing.T) {
	_, name := terminal(t)
	p := open(t, name, 0)
	much := bytes.Repeat([]byte("x"), 1<<20)
	p.SetWriteDeadline(time.Now().Add(100 * time.Millisecond))
	n, err := p.Write(much)
	if !errors.Is(err, os.ErrDeadlineExceeded) || n == len(much) {
		t.Fatalf("%d %v", n, err)
	}
	if err := p.DiscardOutput(); err != nil {
		t.Error(err)
	}
	p.SetWriteDeadline(time.Time{})
	done := make(chan error, 1)
	go func() { _, err := p.Write(much); done <- err }()
	time.Sleep(50 * time.Millisecond)
	p.Close()
	if err := <-done; !errors.Is(err, os.ErrClosed) {
		t.Error(err)
	}
}

func TestTheOtherEndGoes(t *testing.T) {
	far, near, err := pty.Open()
	if err != nil {
		t.Skip(err)
	}
	p := open(t, near.Name(), 0)
	near.Close()
	far.Close()
	if _, err := p.Read(make([]byte, 1)); !errors.Is(err, port.ErrGone) {
		t.Error(err)
	}
	if _, err := p.Write([]byte("x")); !errors.Is(err, port.ErrGone) {
		t.Error(err)
	}
}

// A port belongs to one program; who has it is said.
func TestTaken(t *testing.T) {
	_, name := terminal(t)
	p := open(t, name, 0)
	_, err := port.Open(context.Background(), port.Spec{Name: name})
	var taken *port.TakenError
	if !errors.As(err, &taken) || taken.Holder.PID != os.Getpid() || taken.Hint == "" {
		t.Fatalf("%v %+v", err, taken)
	}
	p.Close()
	open(t, name, 0) // free again
}

// TestMain plays another program that has the port, when told so.
func TestMain(m *testing.M) {
	if name := os.Getenv("PORT_TEST_HOLD"); name != "" {
		if _, err := port.Open(context.Background(), port.Spec{Name: name}); err != nil {
			os.Exit(1)
		}
		os.Stdout.WriteString("held\n")
		io.Copy(io.Discard, os.Stdin)
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func TestTakenByAnotherProgramAndFreeAfterItIsKilled(t *testing.T) {
	_, name := terminal(t)
	other := exec.Command(os.Args[0])
	other.Env = append(os.Environ(), "PORT_TEST_HOLD="+name)
	out, _ := other.StdoutPipe()
	in, _ := other.StdinPipe()
	defer in.Close()
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil || line != "held\n" {
		t.Fatal(line, err)
	}
	_, err := port.Open(context.Background(), port.Spec{Name: name})
	var taken *port.TakenError
	if !errors.As(err, &taken) || taken.Holder.PID != other.Process.Pid || taken.Holder.Name == "" {
		t.Errorf("%v", err)
	}
	if !strings.Contains(err.Error(), strconv.Itoa(other.Process.Pid)) {
		t.Errorf("%v", err)
	}
	other.Process.Kill()
	other.Wait()
	open(t, name, 0)
}

// Trap 7: a child does not inherit the port.
func TestChildrenDoNotInherit(t *testing.T) {
	_, name := terminal(t)
	open(t, name, 0)
	out, err := exec.Command("ls", "-l", "/proc/self/fd").Output()
	if err != nil {
		t.Skip(err)
	}
	if strings.Contains(string(out), name+"\n") {
		t.Errorf("inherited:\n%s", out)
	}
}

func TestNoDescriptorIsLost(t *testing.T) {
	_, name := terminal(t)
	count := func() int { d, _ := os.ReadDir("/proc/self/fd"); return len(d) }
	open(t, name, 0).Close()
	before := count()
	for range 20 {
		open(t, name, 0).Close()
		port.Open(context.Background(), port.Spec{Name: name, Baud: -5})
	}
	if after := count(); after > before {
		t.Errorf("%d descriptors, before %d", after, before)
	}
}

func TestWhatCannotBeOpenedSaysWhatToDo(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	os.WriteFile(file, nil, 0o600)
	for _, c := range []struct {
		name string
		is   error
	}{{"/dev/not-here", fs.ErrNotExist}, {file, nil}, {"/dev/null", nil}, {"", nil}, {"tcp://nowhere", nil}, {"tcp://127.0.0.1:1", nil}} {
		p, err := port.Open(context.Background(), port.Spec{Name: c.name})
		var oe *port.OpenError
		if p != nil || !errors.As(err, &oe) || c.is != nil && !errors.Is(err, c.is) {
			t.Errorf("%q: %v", c.name, err)
		} else if oe.Hint == "" && c.name != "/dev/null" {
			t.Errorf("%q: no hint: %v", c.name, err)
		}
	}
}

func TestNetwork(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Skip(err)
	}
	defer l.Close()
	go func() {
		c, err := l.Accept()
		if err == nil {
			io.Copy(c, c)
			c.Close()
		}
	}()
	p := open(t, "tcp://"+l.Addr().String(), 0)
	if _, err := p.Write([]byte("M115\n")); err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 5)
	if _, err := io.ReadFull(p, b); err != nil || string(b) != "M115\n" {
		t.Errorf("%q %v", b, err)
	}
	if p.Kind() != port.Network || p.DiscardOutput() != nil {
		t.Error(p.Kind())
	}
	p.Close()
	if _, err := p.Read(b); !errors.Is(err, os.ErrClosed) {
		t.Error(err)
	}
}

func BenchmarkRoundTrip(b *testing.B) {
	far, near, err := pty.Open()
	if err != nil {
		b.Skip(err)
	}
	defer far.Close()
	defer near.Close()
	p, err := port.Open(context.Background(), port.Spec{Name: near.Name()})
	if err != nil {
		b.Fatal(err)
	}
	defer p.Close()
	go func() {
		buf := make([]byte, 256)
		for {
			if _, err := far.Read(buf); err != nil {
				return
			}
			far.Write([]byte("ok\n"))
		}
	}()
	line, buf := []byte("M105\n"), make([]byte, 256)
	b.ReportAllocs()
	for b.Loop() {
		p.Write(line)
		p.Read(buf)
	}
}
