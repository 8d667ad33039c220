package source

import _ "embed"

//go:embed source.schema.json
var schemaJSON []byte

// Schema returns the JSON Schema (draft 2020-12) of source descriptions, so
// that editors can complete and check them while they are written. It knows
// keys, words and shapes; what needs the dictionary of findings or a look at
// several keys at once is checked by Parse only.
func Schema() []byte { return append([]byte(nil), schemaJSON...) }
