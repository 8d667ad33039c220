package records

import (
	"strings"
	"testing"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/compress"
)

// The columns as the store and the queries name them; "!" marks the ones that
// every row fills. Names and kinds are on disk.
var layout = map[string]string{
	"calls": "call:uuid! contact:uuid! animal:uuid owner:uuid advisor:uuid site:str contact_type:str! contact_kind:str started_at:ts! ended_at:ts zone:str species:str! breed_group:str sex:str " +
		"neutered:str age_months:int32 weight_kg:float64 complaint:str channel:str level:str rule_level:str ruleset:str override_reason:str safety_net:bool call_seconds:int32 person_hurt:str formal_complaint:str recorded_at:ts",
	"checks": "call:uuid! finding:str! seq:int16! value_number:float64 value_code:str number_given:float64 unit_given:str count:int16 window_s:int16 observer:str setting:str animal_state:str " +
		"handling:str state:str! reason:str asked_at:ts edited_at:ts",
	"outcomes": "outcome:uuid! call:uuid animal:uuid practice:str source:str! route:str! seen_at:ts! recorded_at:ts vet_level:str disposition:str time_critical:bool diagnosis_group:str " +
		"euthanasia_reason:str independent:str match_score:float64 treatment_begun:bool selection_p:float64 responded:bool no_attend_reason:str reviewer:uuid foreseeable:str avoidable:str review_reason:str",
	"coverage": "feed:str! from_date:date32! to_date:date32! delivered_at:ts! rows:int64",
}

func TestSchemas(t *testing.T) {
	for name, want := range layout {
		table, ok := Staged(name)
		if !ok {
			t.Fatalf("no table %s", name)
		}
		var got []string
		for _, f := range table.Schema().Fields() {
			s := f.Name + ":" + kindName(f.Type)
			if !f.Nullable {
				s += "!"
			}
			got = append(got, s)
		}
		want += " exported_at:ts! row_hash:int32! src_file:int32! src_row:int64!"
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s:\n got %s\nwant %s", name, s, want)
		}
	}
	if _, ok := Staged("set_aside"); ok {
		t.Error("set_aside is no record that a description can name")
	}
}

func kindName(t arrow.DataType) string {
	switch t := t.(type) {
	case *arrow.DictionaryType:
		return "str"
	case *arrow.TimestampType:
		if t.Unit == arrow.Microsecond && t.TimeZone == "UTC" {
			return "ts"
		}
	case arrow.ExtensionType:
		if t.ExtensionName() == "arrow.uuid" {
			return "uuid"
		}
	}
	return t.Name()
}

func TestColumnsAreSound(t *testing.T) {
	for _, table := range []Table{Calls, Checks, Outcomes, Coverage} {
		for i, c := range table.Columns {
			if table.Index(c.Name) != i {
				t.Errorf("%s.%s stands twice", table.Name, c.Name)
			}
			if (c.Kind == UUID) != (c.Space != "") {
				t.Errorf("%s.%s: a key needs a space, another column has none", table.Name, c.Name)
			}
			if c.High < c.Low || c.Words.Name() != "" && c.Kind != Text || c.Kind.String() == "" {
				t.Errorf("%s.%s: limits or words do not fit", table.Name, c.Name)
			}
		}
		staged, stored := table.WriterProperties(memory.DefaultAllocator), table.StoredProperties(memory.DefaultAllocator)
		for _, c := range table.Columns {
			random := (c.Kind == UUID || c.Name == RowHash) && table.Name+"."+c.Name != "checks.call"
			if plain := stored.CompressionFor(c.Name) == compress.Codecs.Uncompressed; plain != random {
				t.Errorf("%s.%s: uncompressed in a stored file is %v", table.Name, c.Name, plain)
			}
			if staged.CompressionFor(c.Name) != compress.Codecs.Uncompressed {
				t.Errorf("%s.%s: compressed in a staged file", table.Name, c.Name)
			}
		}
	}
	if Calls.Index("nothing") != -1 {
		t.Error("a column that there is not")
	}
}
