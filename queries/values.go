package queries

import (
	"database/sql"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"time"
)

// placeholder is where a question takes a parameter, or a remark, word or name in
// which one would be taken for it: rules and dictionaries bring their own words.
var placeholder = regexp.MustCompile(`--[^\n]*|'(?:[^']|'')*'|"(?:[^"]|"")*"|\$[a-z_]+`)

// fill writes numbers and times into the text of a question and gives back what
// is left to bind, which is words. DuckDB plans a statement with parameters
// once without their values and once more with them, and of a question about
// a short line most of the time is planning. Numbers keep the types that they
// would be bound with. A name that is not among args stays as it is.
func fill(text string, args map[string]any) (string, []any) {
	var bound []any
	seen := map[string]bool{}
	text = placeholder.ReplaceAllStringFunc(text, func(found string) string {
		name := found[1:]
		value, ok := args[name]
		if found[0] != '$' || !ok {
			return found
		}
		if written, ok := constant(value); ok {
			return written
		}
		if !seen[name] {
			seen[name] = true
			bound = append(bound, sql.Named(name, value))
		}
		return found
	})
	return text, bound
}

// constant writes a number or time as SQL that cannot run into what stands
// beside it.
func constant(value any) (string, bool) {
	switch v := value.(type) {
	case int:
		return fmt.Sprintf("CAST(%d AS BIGINT)", v), true
	case int64:
		return fmt.Sprintf("CAST(%d AS BIGINT)", v), true
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", false
		}
		return "CAST(" + strconv.FormatFloat(v, 'g', -1, 64) + " AS DOUBLE)", true
	case time.Time:
		// Connections are in UTC. Beside a column with a zone this becomes a time
		// with a zone once; the other way about, every row would.
		return "TIMESTAMP '" + v.UTC().Format("2006-01-02 15:04:05.000000") + "'", true
	}
	return "", false
}
