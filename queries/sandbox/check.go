package sandbox

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// ErrRefused is wrapped by every error that blames the text of the query; such
// a query was not run.
var ErrRefused = errors.New("query refused")

func refuse(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrRefused, fmt.Sprintf(format, args...))
}

// maxText bounds the text of a query, in bytes.
const maxText = 100_000

// relations and queries that may appear. What is not listed is refused, so
// that a new kind of a new release is refused until somebody has looked at it.
var nodeTypes = map[string]bool{
	"SELECT_NODE": true, "SET_OPERATION_NODE": true, "RECURSIVE_CTE_NODE": true, "CTE_NODE": true,
	"EMPTY": true, "BASE_TABLE": true, "SUBQUERY": true, "JOIN": true, "TABLE_FUNCTION": true, "EXPRESSION_LIST": true, "PIVOT": true,
	"ORDER_MODIFIER": true, "LIMIT_MODIFIER": true, "LIMIT_PERCENT_MODIFIER": true, "DISTINCT_MODIFIER": true,
	"ORDER_DEFAULT": true, "ASCENDING": true, "DESCENDING": true,
	"LIST_TYPE_INFO": true, "STRUCT_TYPE_INFO": true, "DECIMAL_TYPE_INFO": true, "ARRAY_TYPE_INFO": true, "STRING_TYPE_INFO": true,
}

// expressions that may appear.
var expressionClasses = map[string]bool{
	"BETWEEN": true, "CASE": true, "CAST": true, "COLLATE": true, "COLUMN_REF": true, "COMPARISON": true, "CONJUNCTION": true, "CONSTANT": true,
	"FUNCTION": true, "LAMBDA": true, "LAMBDA_REF": true, "OPERATOR": true, "POSITIONAL_REFERENCE": true, "STAR": true, "SUBQUERY": true, "WINDOW": true,
}

// castTypes that a query may name; any other name is looked up in a catalogue.
var castTypes = map[string]bool{
	"BOOLEAN": true, "TINYINT": true, "SMALLINT": true, "INTEGER": true, "BIGINT": true, "HUGEINT": true, "UTINYINT": true, "USMALLINT": true,
	"UINTEGER": true, "UBIGINT": true, "UHUGEINT": true, "FLOAT": true, "DOUBLE": true, "DECIMAL": true, "VARCHAR": true, "DATE": true, "TIME": true,
	"TIMESTAMP": true, "TIMESTAMP_S": true, "TIMESTAMP_MS": true, "TIMESTAMP_NS": true, "TIMESTAMP WITH TIME ZONE": true, "INTERVAL": true,
	"UUID": true, "LIST": true, "STRUCT": true, "MAP": true, "ARRAY": true, "NULL": true, "INTEGER_LITERAL": true, "STRING_LITERAL": true,
}

var plainName = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`)

// checker holds what one query may name.
type checker struct {
	views []string
	// internal are views and tables of the engine itself, which a WITH must
	// not pretend to be: the name is then looked up in the catalogue wherever
	// the WITH does not reach.
	internal map[string]bool
	ctes     map[string]bool
}

// check reads the tree that json_serialize_sql gave for a query and refuses
// whatever is not on a list.
func (c *checker) check(tree []byte) error {
	var doc struct {
		Error      bool              `json:"error"`
		Message    string            `json:"error_message"`
		Statements []json.RawMessage `json:"statements"`
	}
	if err := json.Unmarshal(tree, &doc); err != nil {
		return fmt.Errorf("read the engine's parse tree: %w", err)
	}
	if doc.Error {
		if strings.HasPrefix(doc.Message, "Only SELECT") {
			return refuse("expected one SELECT, found another statement; results are written with --out and --format")
		}
		return refuse("%s", doc.Message)
	}
	if len(doc.Statements) != 1 {
		return refuse("expected one SELECT, found %d statements; send them one at a time", len(doc.Statements))
	}
	var statement any
	if err := json.Unmarshal(doc.Statements[0], &statement); err != nil {
		return fmt.Errorf("read the engine's parse tree: %w", err)
	}
	c.ctes = map[string]bool{}
	if err := c.collect(statement); err != nil {
		return err
	}
	return c.walk(statement)
}

// collect gathers the names that the query's own WITH clauses make.
func (c *checker) collect(v any) error {
	switch v := v.(type) {
	case []any:
		for _, x := range v {
			if err := c.collect(x); err != nil {
				return err
			}
		}
	case map[string]any:
		for key, x := range v {
			if key == "cte_map" {
				if err := c.name(x); err != nil {
					return err
				}
			}
			if err := c.collect(x); err != nil {
				return err
			}
		}
	}
	return nil
}

// name notes the names of one WITH.
func (c *checker) name(v any) error {
	m, _ := v.(map[string]any)
	list, _ := m["map"].([]any)
	for _, x := range list {
		entry, _ := x.(map[string]any)
		name := text(entry, "key")
		if !plainName.MatchString(name) || c.internal[strings.ToLower(name)] {
			return refuse("WITH %q: expected a name of letters, digits and underscores that no table of the engine has; choose another", name)
		}
		c.ctes[strings.ToLower(name)] = true
	}
	return nil
}

func (c *checker) walk(v any) error {
	switch v := v.(type) {
	case []any:
		for _, x := range v {
			if err := c.walk(x); err != nil {
				return err
			}
		}
	case map[string]any:
		if err := c.object(v); err != nil {
			return err
		}
		for key, x := range v {
			// A constant is data; its type and everything else is looked at.
			if key == "value" && v["class"] == "CONSTANT" {
				continue
			}
			if err := c.walk(x); err != nil {
				return err
			}
		}
	}
	return nil
}

// object judges one object of the tree by its kind.
func (c *checker) object(m map[string]any) error {
	if class, ok := m["class"].(string); ok {
		return c.expression(class, m)
	}
	if kind, ok := m["type"].(string); ok {
		return c.node(kind, m)
	}
	if id, ok := m["id"].(string); ok {
		if !castTypes[id] {
			return refuse("a type %s: expected a plain type such as INTEGER, DOUBLE, VARCHAR, DATE or TIMESTAMP", typeName(id, m))
		}
	}
	return nil
}

func typeName(id string, m map[string]any) string {
	if info, ok := m["type_info"].(map[string]any); ok && text(info, "name") != "" {
		return fmt.Sprintf("%q", text(info, "name"))
	}
	return id
}

func (c *checker) expression(class string, m map[string]any) error {
	if class == "PARAMETER" {
		return refuse("a parameter ($1 or ?): expected values in the text")
	}
	if !expressionClasses[class] {
		return refuse("an expression of kind %s, which is not on the list", strings.ToLower(class))
	}
	if class == "FUNCTION" || class == "WINDOW" {
		return c.function(m, allowed(), "function")
	}
	return nil
}

func (c *checker) function(m map[string]any, list map[string]bool, kind string) error {
	name := text(m, "function_name")
	schema, catalog := text(m, "schema"), text(m, "catalog")
	if catalog != "" || schema != "" && schema != "main" {
		return refuse("%s %s.%s: expected its bare name", kind, schema, name)
	}
	if !list[strings.ToLower(name)] {
		if kind == "table function" {
			return refuse("table function %s: expected one of generate_series, range, unnest, or a view: %s", name, strings.Join(c.views, ", "))
		}
		return refuse("function %s is not on the list of those that may be called; report sql --functions prints it", name)
	}
	return nil
}

func (c *checker) node(kind string, m map[string]any) error {
	if !nodeTypes[kind] {
		if kind == "SHOW_REF" {
			return refuse("SHOW, DESCRIBE and SUMMARIZE: report sql --tables prints the views and their columns")
		}
		if kind == "UNBOUND_TYPE_INFO" {
			return refuse("a type %q: expected a plain type such as INTEGER, DOUBLE, VARCHAR, DATE or TIMESTAMP", text(m, "name"))
		}
		return refuse("a part of kind %s, which is not on the list", strings.ToLower(kind))
	}
	switch kind {
	case "BASE_TABLE":
		return c.table(m)
	case "TABLE_FUNCTION":
		f, _ := m["function"].(map[string]any)
		return c.function(f, tableFunctions, "table function")
	}
	return nil
}

func (c *checker) table(m map[string]any) error {
	name := text(m, "table_name")
	if text(m, "catalog_name") != "" || text(m, "schema_name") != "" {
		return refuse("table %q of a named schema: expected one of the views: %s", name, strings.Join(c.views, ", "))
	}
	if m["at_clause"] != nil {
		return refuse("AT on table %q: an earlier state is chosen with --as-of", name)
	}
	lower := strings.ToLower(name)
	if !slices.Contains(c.views, lower) && !c.ctes[lower] {
		return refuse("table %q: expected one of the views: %s", name, strings.Join(c.views, ", "))
	}
	return nil
}

func text(m map[string]any, key string) string {
	s, _ := m[key].(string)
	return s
}
