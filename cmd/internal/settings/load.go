package settings

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"
)

// DefaultFile is read from the working folder when no other file is named.
const DefaultFile = "hindcheck.yaml"

// EnvPrefix begins every variable of the environment that sets something.
const EnvPrefix = "HINDCHECK_"

// secretVariable holds the key of the pseudonyms. It is no setting: the secret
// must not travel through a configuration library.
const secretVariable = EnvPrefix + "KEY"

// ErrUsage is wrapped by every error that blames what a person set; a command
// answers it with exit status 2.
var ErrUsage = errors.New("wrong usage")

func usageErr(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrUsage, fmt.Sprintf(format, args...))
}

// AddFlags adds the named settings and quiet, which every command knows, to
// flags, with the table's default and usage. A name that is not in the table, or twice on one command, is a fault
// in our code and panics.
func AddFlags(flags *pflag.FlagSet, names ...string) {
	for _, name := range append(slices.Clone(names), "quiet") {
		s, ok := lookup(name)
		if !ok {
			panic("settings: no setting " + name)
		}
		switch def := s.def.(type) {
		case bool:
			flags.BoolP(s.key, s.short, def, s.usage)
		case int:
			flags.IntP(s.key, s.short, def, s.usage)
		case float64:
			flags.Float64P(s.key, s.short, def, s.usage)
		case time.Duration:
			flags.DurationP(s.key, s.short, def, s.usage)
		default:
			flags.StringP(s.key, s.short, def.(string), s.usage)
		}
	}
}

// Load reads defaults, file, environment and flags into one struct. env holds
// "NAME=value" entries as os.Environ gives them; only HINDCHECK_ ones are
// looked at. flags are parsed already; those of other names than the table's
// are the command's own and left alone. Every error wraps ErrUsage, but for a
// file that cannot be read.
func Load(flags *pflag.FlagSet, env []string) (Settings, error) {
	v := viper.New()
	for _, s := range table {
		v.SetDefault(s.key, s.def)
	}
	vars, err := readEnv(env)
	if err != nil {
		return Settings{}, err
	}
	if err := readFile(v, flags, vars); err != nil {
		return Settings{}, err
	}
	if err := v.MergeConfigMap(vars); err != nil {
		return Settings{}, fmt.Errorf("merge environment: %w", err)
	}
	for _, s := range table {
		if f := flags.Lookup(s.key); f != nil {
			if err := v.BindPFlag(s.key, f); err != nil {
				return Settings{}, fmt.Errorf("bind flag --%s: %w", s.key, err)
			}
		}
	}
	var out Settings
	if err := v.UnmarshalExact(&out); err != nil {
		return Settings{}, usageErr("settings: %v", err)
	}
	return out, out.check()
}

// readFile reads the settings file, if any, and refuses unknown keys and
// values of another type than the default's.
func readFile(v *viper.Viper, flags *pflag.FlagSet, vars map[string]any) error {
	path, named := DefaultFile, false
	if s, ok := vars["config"].(string); ok && s != "" {
		path, named = s, true
	}
	if f := flags.Lookup("config"); f != nil && f.Changed {
		path, named = f.Value.String(), true
	}
	if _, err := os.Stat(path); err != nil {
		if !named && errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return fmt.Errorf("settings file: %w", err)
	}
	file := viper.New()
	file.SetConfigFile(path)
	file.SetConfigType("yaml")
	if err := file.ReadInConfig(); err != nil {
		return usageErr("%s: %v", filepath.Base(path), err)
	}
	values := file.AllSettings()
	for _, key := range sortedKeys(values) {
		s, ok := lookup(key)
		if !ok {
			return usageErr("%s: unknown setting %q%s", filepath.Base(path), key, nearest(key))
		}
		if !sameType(s.def, values[key]) {
			return usageErr("%s: setting %q: expected %s, found %T", filepath.Base(path), key, kind(s.def), values[key])
		}
	}
	return v.MergeConfigMap(values)
}

// readEnv picks the HINDCHECK_ variables and gives them the table's types.
func readEnv(env []string) (map[string]any, error) {
	out := map[string]any{}
	for _, entry := range env {
		name, value, _ := strings.Cut(entry, "=")
		rest, ok := strings.CutPrefix(name, EnvPrefix)
		if !ok || name == secretVariable {
			continue
		}
		key := strings.ReplaceAll(strings.ToLower(rest), "_", "-")
		s, ok := lookup(key)
		if !ok {
			return nil, usageErr("unknown variable %s in the environment%s", name, nearest(key))
		}
		typed, err := parse(s.def, value)
		if err != nil {
			return nil, usageErr("variable %s: expected %s, found %q", name, kind(s.def), value)
		}
		out[key] = typed
	}
	return out, nil
}

// parse reads text as the type of def.
func parse(def any, text string) (any, error) {
	switch def.(type) {
	case bool:
		return strconv.ParseBool(text)
	case int:
		return strconv.Atoi(text)
	case float64:
		return strconv.ParseFloat(text, 64)
	case time.Duration:
		return time.ParseDuration(text)
	}
	return text, nil
}

// sameType reports whether a value of the file may stand for def. A whole
// number may stand for a float; a duration is written as text, such as 72h.
func sameType(def, value any) bool {
	switch def.(type) {
	case bool:
		_, ok := value.(bool)
		return ok
	case int:
		_, ok := value.(int)
		return ok
	case float64:
		_, isInt := value.(int)
		_, isFloat := value.(float64)
		return isInt || isFloat
	case time.Duration:
		s, ok := value.(string)
		if ok {
			_, err := time.ParseDuration(s)
			ok = err == nil
		}
		return ok
	}
	_, ok := value.(string)
	return ok
}

// kind says what is expected, in words for a message.
func kind(def any) string {
	switch def.(type) {
	case bool:
		return "true or false"
	case int:
		return "a whole number"
	case float64:
		return "a number"
	case time.Duration:
		return "a duration such as 72h"
	}
	return "text"
}

func lookup(key string) (setting, bool) {
	for _, s := range table {
		if s.key == key {
			return s, true
		}
	}
	return setting{}, false
}

func sortedKeys(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// nearest offers the setting that shares the longest beginning, for a remedy.
func nearest(key string) string {
	best, length := "", 2
	for _, s := range table {
		n := 0
		for n < len(s.key) && n < len(key) && s.key[n] == key[n] {
			n++
		}
		if n > length {
			best, length = s.key, n
		}
	}
	if best == "" {
		return "; see --help for the settings"
	}
	return fmt.Sprintf("; did you mean %q", best)
}

// check refuses values that no command can honour.
func (s Settings) check() error {
	oneOf := func(key, value string, allowed ...string) error {
		for _, a := range allowed {
			if value == a {
				return nil
			}
		}
		return usageErr("setting %q: expected one of %s, found %q", key, strings.Join(allowed, ", "), value)
	}
	share := func(key string, value float64) error {
		if value >= 0 && value <= 1 {
			return nil
		}
		return usageErr("setting %q: expected a share from 0 to 1, found %v", key, value)
	}
	var conf error
	if !(s.Confidence > 0 && s.Confidence < 1) {
		conf = usageErr("setting %q: expected a number between 0 and 1, found %v", "confidence", s.Confidence)
	}
	var counts error
	if s.Threads < 0 || s.AsOf < 0 || s.MinVerified < 0 || s.MinCount < 0 || s.Window < 0 || s.Lag < 0 {
		counts = usageErr("settings threads, as-of, min-verified, min-count, window and lag must not be negative")
	}
	return errors.Join(
		oneOf("format", s.Format, "text", "csv", "json", "html", "parquet", "arrow"),
		oneOf("cut", s.Cut, "same_day", "emergency"),
		share("under-triage-limit", s.UnderTriageLimit),
		share("over-triage-limit", s.OverTriageLimit),
		conf, counts)
}
