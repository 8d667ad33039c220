package intake

import (
	"encoding/hex"
	"testing"
)

func TestReadPseudonym(t *testing.T) {
	var got [16]byte
	if !readPseudonym(got[:], []byte("6f1c2d3e-1b7a-4C55-9d1e-0a2b3c4d5e6f")) || hex.EncodeToString(got[:]) != "6f1c2d3e1b7a4c559d1e0a2b3c4d5e6f" {
		t.Errorf("read %x", got)
	}
	for _, bad := range []string{"", "C10003", "6f1c2d3e1b7a4c559d1e0a2b3c4d5e6f", "6f1c2d3e-1b7a-4c55-9d1e-0a2b3c4d5e6", "6f1c2d3e-1b7a-4c55-9d1e-0a2b3c4d5e6f0",
		"6f1c2d3e_1b7a-4c55-9d1e-0a2b3c4d5e6f", "6f1c2d3e-1b7a-4c55-9d1e-0a2b3c4d5e6g"} {
		if readPseudonym(got[:], []byte(bad)) {
			t.Errorf("%q is no pseudonym", bad)
		}
	}
}
