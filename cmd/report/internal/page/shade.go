package page

import (
	"fmt"
	"html/template"
)

func init() { register(template.FuncMap{"shade": shade}) }

// shade is the class of a cell by its share of the row, in five steps.
func shade(n Node, path, total string) string {
	x, ok := n.float(path)
	t, ok2 := n.float(total)
	if !ok || !ok2 || t == 0 || x == 0 {
		return "h0"
	}
	return fmt.Sprintf("h%d", min(5, 1+int(x/t*5)))
}
