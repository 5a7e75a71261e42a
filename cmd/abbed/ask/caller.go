package ask

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/sys/unix"

	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/config/outside"
	"abbed/daemon/access"
	"abbed/daemon/client"
)

// Caller calls a running daemon.
type Caller struct {
	URL, Token, ca string
	Printer        string // its name from setup; "": url and token say
	Json           bool
	flags          *pflag.FlagSet
	Dirs           []string // of settings files; nil: those of this machine
	pinned         string   // file of the certificate that this machine's daemon must show; "": none
	locked         bool     // the token is there, and may not be read
}

// commonHelp is where the common flags are shown.
const commonHelp = "abbed --help"

// Common are the flags by which every command reaches a daemon.
func (k *Caller) Common() *pflag.FlagSet {
	f := pflag.NewFlagSet("common", pflag.ContinueOnError)
	f.StringVar(&k.Printer, "printer", "", "Name of the printer from setup; not needed if there is only one.")
	f.StringVar(&k.URL, "url", envOr("ABBED_URL", "http://"+config.Default().Listen), "Where the daemon listens, in place of --printer; unix:/path is its socket.")
	f.StringVar(&k.Token, "token-file", envOr("ABBED_TOKEN_FILE", filepath.Join(config.StateDir(os.Environ()), "token")), "The operator's token, with --url.")
	f.StringVar(&k.ca, "ca", envOr("ABBED_CA", ""), "File of a certificate (PEM) to trust, with --url.")
	f.BoolVar(&k.Json, "json", false, "Answer in JSON, for programs.")
	return f
}

// add gives a command the common flags.
func (k *Caller) add(c *cobra.Command) {
	k.AddSome(c)
	c.MarkFlagsMutuallyExclusive("printer", "url")
	c.MarkFlagsMutuallyExclusive("printer", "token-file")
}

// AddSome gives a command the common flags of these names; none: all of them.
func (k *Caller) AddSome(c *cobra.Command, names ...string) {
	some := pflag.NewFlagSet("common", pflag.ContinueOnError)
	k.Common().VisitAll(func(f *pflag.Flag) {
		if len(names) == 0 || slices.Contains(names, f.Name) {
			some.AddFlag(f)
		}
	})
	console.AddShared(c.Flags(), some, commonHelp)
	k.flags = c.Flags()
	_ = c.RegisterFlagCompletionFunc("printer", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return k.Known(), cobra.ShellCompDirectiveNoFileComp
	})
}

// Known are the printers that were set up on this machine.
func (k *Caller) Known() (out []string) {
	for _, dir := range k.places() {
		files, _ := filepath.Glob(filepath.Join(dir, "*.yaml"))
		for _, f := range files {
			out = append(out, filepath.Base(f[:len(f)-len(".yaml")]))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (k *Caller) places() []string {
	if k.Dirs != nil {
		return k.Dirs
	}
	return []string{console.SettingsDir(true), console.SettingsDir(false)}
}

// which is the printer that is named, or the only one there is; "" if there is none,
// or if an address was given in place of a name.
func (k *Caller) which() (string, error) {
	if k.Printer != "" || k.flags != nil && k.flags.Changed("printer") {
		return k.Printer, k.IsKnown()
	}
	if k.addressed() {
		return "", nil
	}
	switch known := k.Known(); len(known) {
	case 0:
		return "", nil
	case 1:
		return known[0], nil
	default:
		return "", console.Usage(fmt.Errorf("there are several printers: say which one with --printer NAME: %s", strings.Join(known, ", ")))
	}
}

// addressed reports whether an address or a token was given.
func (k *Caller) addressed() bool {
	return os.Getenv("ABBED_URL") != "" || os.Getenv("ABBED_TOKEN_FILE") != "" || k.flags != nil && (k.flags.Changed("url") || k.flags.Changed("token-file"))
}

func (k *Caller) IsKnown() error {
	if known := k.Known(); !slices.Contains(known, k.Printer) {
		there := "no printer was set up here"
		if len(known) > 0 {
			there = "there is " + strings.Join(known, ", ")
		}
		return console.Usage(fmt.Errorf("--printer %q: %s; abbed setup NAME sets a printer up", k.Printer, there))
	}
	return nil
}

// file is the settings file of a printer that is known.
func (k *Caller) file(name string) string {
	for _, dir := range k.places() {
		file := filepath.Join(dir, name+".yaml")
		if _, err := os.Stat(file); !errors.Is(err, fs.ErrNotExist) {
			return file
		}
	}
	return ""
}

// Find takes address and token from the settings of the printer. Whoever may not read
// the token goes by the printer's socket, if there is one that lets him, and looks and
// stops at the address otherwise. A daemon with a certificate must show that one.
func (k *Caller) Find() error {
	name, err := k.which()
	if err != nil || name == "" {
		return err
	}
	s, err := config.Load(config.Options{File: k.file(name), Environ: []string{}})
	if err != nil {
		return console.Usage(err)
	}
	k.Printer = name
	k.URL, k.Token = "http://"+AtHome(s.Listen), filepath.Join(s.State, "token")
	cert := s.Access.Certificate
	if s.Access.Own() {
		cert = access.OwnFiles(s.State).Certificate
	}
	if cert != "" {
		k.URL, k.pinned = "https://"+AtHome(s.Listen), cert
	}
	_, err = ReadToken(k.Token)
	if k.locked = errors.Is(err, fs.ErrPermission); k.locked && s.Socket != "" && unix.Access(s.Socket, unix.W_OK) == nil {
		k.URL = "unix:" + s.Socket
	}
	return nil
}

// AtHome is an address as it is reached on this machine: a daemon that listens everywhere
// is asked on the loopback.
func AtHome(listen string) string {
	host, port, err := net.SplitHostPort(listen)
	if ip := net.ParseIP(host); err == nil && (host == "" || ip != nil && ip.IsUnspecified()) {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return listen
}

// Settings reads the settings of the printer that is named with --printer; alone says
// that the only one there is will do. A file that --config names goes first.
func (k *Caller) Settings(alone bool) (config.Settings, error) {
	o := config.Options{Flags: k.flags, AlsoEnv: console.AlsoEnv}
	said := k.Printer != ""
	for _, flag := range []string{"config", "port"} {
		said = said || k.flags.Changed(flag)
	}
	if k.Printer != "" || alone && !said && os.Getenv("ABBED_CONFIG") == "" && os.Getenv("ABBED_PORT") == "" {
		name, err := k.which()
		if err != nil {
			return config.Settings{}, err
		}
		if name != "" && !k.flags.Changed("config") {
			o.File = k.file(name)
		}
	}
	s, err := config.Load(o)
	if err != nil {
		return s, console.Usage(err)
	}
	return s, nil
}

// Dial returns a client of the printer's daemon. On the socket the file's permissions
// are the access: the token goes along only if it was asked for.
func (k *Caller) Dial() (*client.Client, error) {
	if err := k.Find(); err != nil {
		return nil, err
	}
	if strings.HasPrefix(k.URL, "unix:") && !(k.flags != nil && k.flags.Changed("token-file")) {
		return client.New(k.URL, ""), nil
	}
	token, err := ReadToken(k.Token)
	if err != nil && !errors.Is(err, os.ErrNotExist) && !k.locked {
		return nil, err
	}
	a := client.New(k.URL, token)
	if k.ca == "" && k.pinned != "" {
		return k.pin(a)
	}
	if k.ca == "" {
		return a, nil
	}
	given, err := outside.Read(k.ca, 1<<20)
	if err != nil {
		return nil, console.Usage(fmt.Errorf("--ca: %w", err))
	}
	pool, err := x509.SystemCertPool()
	if err != nil {
		pool = x509.NewCertPool()
	}
	if !pool.AppendCertsFromPEM(given) {
		return nil, console.Usage(fmt.Errorf("--ca %s: holds no certificate in PEM", k.ca))
	}
	return a.Over(&http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12}}), nil
}

// pin has a client trust the certificate of the printer's settings, and no other: it may be
// made for other names than that of this machine.
func (k *Caller) pin(a *client.Client) (*client.Client, error) {
	text, err := outside.Read(k.pinned, 1<<20)
	if errors.Is(err, fs.ErrPermission) && k.locked && strings.HasPrefix(k.URL, "https://127.0.0.1:") {
		// Without the token, to an address of this machine: nothing secret goes out, and a look
		// or a stop must not fail for want of a file that this user may not read.
		return a.Over(&http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12}}), nil
	}
	if errors.Is(err, fs.ErrPermission) {
		return a, nil // then the system has to trust it
	}
	if err != nil {
		return nil, fmt.Errorf("read the certificate of %s: %w", k.Printer, err)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, console.Usage(fmt.Errorf("the certificate of %s, %s, is no PEM", k.Printer, k.pinned))
	}
	same := func(c tls.ConnectionState) error {
		if !bytes.Equal(c.PeerCertificates[0].Raw, block.Bytes) {
			return fmt.Errorf("what listens at %s shows another certificate than %s", k.URL, k.pinned)
		}
		return nil
	}
	// The check by names is replaced by one that is stricter.
	return a.Over(&http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyConnection: same, MinVersion: tls.VersionTLS12}}), nil
}

// ReadToken reads the operator's token, as the daemon keeps it.
func ReadToken(file string) (string, error) {
	b, err := outside.Read(file, 256)
	if err != nil {
		return "", fmt.Errorf("read the operator's token: %w", err)
	}
	return strings.TrimSpace(string(b)), nil
}

func envOr(name, otherwise string) string {
	if v := os.Getenv(name); v != "" {
		return v
	}
	return otherwise
}
