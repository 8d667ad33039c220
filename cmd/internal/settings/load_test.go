package settings

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/spf13/pflag"
)

func load(t *testing.T, file string, env []string, args ...string) (Settings, error) {
	t.Helper()
	t.Chdir(t.TempDir())
	if file != "" {
		if err := os.WriteFile(DefaultFile, []byte(file), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	flags := pflag.NewFlagSet("test", pflag.ContinueOnError)
	AddFlags(flags, "config", "store", "confidence", "window", "as-of")
	flags.String("month", "", "a flag of the command's own")
	if err := flags.Parse(args); err != nil {
		t.Fatal(err)
	}
	return Load(flags, env)
}

func TestTableAndStructAgree(t *testing.T) {
	typ := reflect.TypeOf(Settings{})
	if typ.NumField() != len(table) {
		t.Fatalf("%d fields, %d rows in the table", typ.NumField(), len(table))
	}
	for i := range typ.NumField() {
		f := typ.Field(i)
		s, ok := lookup(f.Tag.Get("mapstructure"))
		if !ok {
			t.Errorf("field %s has no row in the table", f.Name)
			continue
		}
		if reflect.TypeOf(s.def) != f.Type {
			t.Errorf("%s: default is %T, field is %v", s.key, s.def, f.Type)
		}
		if s.usage == "" {
			t.Errorf("%s: no usage", s.key)
		}
	}
}

func TestPrecedence(t *testing.T) {
	file := "store: from-file\nconfidence: 0.9\nwindow: 24h\nas-of: 3\n"
	env := []string{"HOME=/x", "HINDCHECK_STORE=from-env", "HINDCHECK_CONFIDENCE=0.8", "HINDCHECK_QUIET=true"}
	got, err := load(t, file, env, "--confidence", "0.7", "--month", "2026-07")
	if err != nil {
		t.Fatal(err)
	}
	if got.Store != "from-env" || got.Confidence != 0.7 || got.Window != 24*time.Hour || got.AsOf != 3 || !got.Quiet {
		t.Errorf("got %+v", got)
	}
	if got.Format != "text" || got.Lag != 45*24*time.Hour {
		t.Errorf("defaults are lost: %+v", got)
	}
}

func TestNamedFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "line.yaml")
	if err := os.WriteFile(path, []byte("store: named\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := load(t, "store: from-default-file\n", nil, "--config", path)
	if err != nil || got.Store != "named" {
		t.Errorf("flag: got %q, %v", got.Store, err)
	}
	got, err = load(t, "", []string{"HINDCHECK_CONFIG=" + path})
	if err != nil || got.Store != "named" {
		t.Errorf("environment: got %q, %v", got.Store, err)
	}
	if _, err = load(t, "", nil, "--config", path+".missing"); err == nil {
		t.Error("a named file that is missing must be an error")
	}
}

func TestRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		file string
		env  []string
		want string
	}{
		"unknown key":        {file: "stor: x\n", want: `unknown setting "stor"; did you mean "store"`},
		"nested key":         {file: "store: {path: x}\n", want: "expected text"},
		"type of the file":   {file: "quiet: 3\n", want: "expected true or false"},
		"number as text":     {file: "confidence: high\n", want: "expected a number"},
		"bare duration":      {file: "window: 72\n", want: "expected a duration"},
		"broken file":        {file: "store: [\n", want: "hindcheck.yaml"},
		"unknown variable":   {env: []string{"HINDCHECK_STOER=x"}, want: "unknown variable HINDCHECK_STOER"},
		"type of a variable": {env: []string{"HINDCHECK_THREADS=many"}, want: "expected a whole number"},
		"confidence":         {file: "confidence: 95\n", want: "between 0 and 1"},
		"cut":                {file: "cut: soon\n", want: "same_day, emergency"},
		"limit":              {file: "under-triage-limit: 5\n", want: "share from 0 to 1"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := load(t, c.file, c.env)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got error %v, want %q", err, c.want)
			}
			if !errors.Is(err, ErrUsage) {
				t.Errorf("%v does not wrap ErrUsage", err)
			}
		})
	}
}
