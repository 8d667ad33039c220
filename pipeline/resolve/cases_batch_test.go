package resolve

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Months go together up to the limit; calls with many checks count for more,
// since the checks fill the memory.
func TestBatches(t *testing.T) {
	rows := map[int]int64{}
	for month, n := range map[int][2]int64{202601: {10, 60}, 202602: {10, 20}, 202603: {10, 600}, 202604: {5, 0}} {
		rows[month] = weight(n[0], n[1])
	}
	got := inBatches([]int{202601, 202602, 202603, 202604}, rows, 25)
	if diff := cmp.Diff([][]int{{202601, 202602}, {202603}, {202604}}, got); diff != "" {
		t.Error(diff)
	}
}
