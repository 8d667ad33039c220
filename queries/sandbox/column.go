package sandbox

import (
	"encoding/hex"
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"time"

	duckdb "github.com/duckdb/duckdb-go/v2"
)

// kind is what the values of a result's column are in Go and in Arrow.
type kind uint8

const (
	boolean   kind = iota
	integer        // int64
	unsigned       // uint64
	single         // float32
	double         // float64
	decimal        // *big.Int, times 10^scale
	word           // string
	date           // time.Time at midnight UTC
	instant        // time.Time in UTC
	localTime      // time.Time, a wall clock reading without zone
	timeOfDay      // time.Duration since midnight
)

// column is one column of a result.
type column struct {
	name string
	kind kind
	// precision and scale of a decimal.
	precision, scale int32
}

var kinds = map[string]kind{
	"BOOLEAN": boolean, "TINYINT": integer, "SMALLINT": integer, "INTEGER": integer, "BIGINT": integer, "HUGEINT": integer,
	"UTINYINT": unsigned, "USMALLINT": unsigned, "UINTEGER": unsigned, "UBIGINT": unsigned, "UHUGEINT": unsigned, "FLOAT": single, "DOUBLE": double,
	"VARCHAR": word, "ENUM": word, "UUID": word, "SQLNULL": word, "NULL": word, "DATE": date, "TIMESTAMP": localTime, "TIMESTAMP_S": localTime,
	"TIMESTAMP_MS": localTime, "TIMESTAMP_NS": localTime, "TIMESTAMPTZ": instant, "TIME": timeOfDay,
}

// columnOf finds how a column of the engine's type is written. Lists,
// structures, maps and intervals have no form that every format shares.
func columnOf(name, typ string) (column, error) {
	c := column{name: name}
	if n, err := fmt.Sscanf(typ, "DECIMAL(%d,%d)", &c.precision, &c.scale); n == 2 && err == nil {
		c.kind = decimal
		return c, nil
	}
	k, ok := kinds[strings.ReplaceAll(typ, " WITH TIME ZONE", "TZ")]
	if !ok {
		return c, refuse("column %q of the result has type %s: expected plain values; use unnest, list_aggregate, epoch_us or a cast to VARCHAR", name, typ)
	}
	c.kind = k
	return c, nil
}

// value turns a value of the driver into that of the column's kind; nil stays.
func (c column) value(v any) (any, error) {
	if v == nil {
		return nil, nil
	}
	switch c.kind {
	case integer, unsigned:
		return c.whole(v)
	case decimal:
		if d, ok := v.(duckdb.Decimal); ok {
			return d.Value, nil
		}
	case word:
		return wordOf(v)
	case date, instant, localTime:
		if t, ok := v.(time.Time); ok {
			return t.UTC(), nil
		}
	case timeOfDay:
		if t, ok := v.(time.Time); ok {
			return t.UTC().Sub(t.UTC().Truncate(24 * time.Hour)), nil
		}
	default:
		return v, nil
	}
	return nil, fmt.Errorf("column %q: the engine gave a value of kind %T, which was not expected", c.name, v)
}

// whole reads integers of any width. Sums of counts come as 128-bit numbers
// and nearly always fit 64.
func (c column) whole(v any) (any, error) {
	var n big.Int
	switch v := v.(type) {
	case int8:
		n.SetInt64(int64(v))
	case int16:
		n.SetInt64(int64(v))
	case int32:
		n.SetInt64(int64(v))
	case int64:
		n.SetInt64(v)
	case uint8:
		n.SetUint64(uint64(v))
	case uint16:
		n.SetUint64(uint64(v))
	case uint32:
		n.SetUint64(uint64(v))
	case uint64:
		n.SetUint64(v)
	case *big.Int:
		n.Set(v)
	default:
		return nil, fmt.Errorf("column %q: the engine gave a whole number of kind %T, which was not expected", c.name, v)
	}
	switch {
	case c.kind == integer && n.IsInt64():
		return n.Int64(), nil
	case c.kind == unsigned && n.IsUint64():
		return n.Uint64(), nil
	}
	return nil, refuse("column %q of the result holds a whole number beyond 64 bits; cast it to DOUBLE or VARCHAR", c.name)
}

func wordOf(v any) (any, error) {
	switch v := v.(type) {
	case string:
		return v, nil
	case []byte:
		// A UUID comes as its 16 bytes.
		if len(v) == 16 {
			s := hex.EncodeToString(v)
			return s[:8] + "-" + s[8:12] + "-" + s[12:16] + "-" + s[16:20] + "-" + s[20:], nil
		}
	}
	return nil, fmt.Errorf("the engine gave text of kind %T, which was not expected", v)
}

// text writes a value as people and CSV read it; nil is empty.
func (c column) text(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	case bool:
		return strconv.FormatBool(v)
	case int64:
		return strconv.FormatInt(v, 10)
	case uint64:
		return strconv.FormatUint(v, 10)
	case float32:
		return strconv.FormatFloat(float64(v), 'g', -1, 32)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case *big.Int:
		return fixed(v, int(c.scale))
	case time.Duration:
		return time.Time{}.Add(v).Format("15:04:05.999999")
	case time.Time:
		return c.clock(v)
	}
	return fmt.Sprint(v)
}

func (c column) clock(t time.Time) string {
	switch c.kind {
	case date:
		return t.Format(time.DateOnly)
	case localTime:
		return t.Format("2006-01-02T15:04:05.999999")
	}
	return t.Format("2006-01-02T15:04:05.999999Z07:00")
}

// fixed writes a decimal with all its places.
func fixed(n *big.Int, scale int) string {
	if scale == 0 {
		return n.String()
	}
	digits := new(big.Int).Abs(n).String()
	if len(digits) <= scale {
		digits = strings.Repeat("0", scale-len(digits)+1) + digits
	}
	at := len(digits) - scale
	sign := ""
	if n.Sign() < 0 {
		sign = "-"
	}
	return sign + digits[:at] + "." + digits[at:]
}
