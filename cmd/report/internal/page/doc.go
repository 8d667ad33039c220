// Package page writes a Review for people and machines: one self-contained
// HTML file, text for a terminal, CSV and JSON. The writers arrange and format;
// they compute nothing.
//
// HTML is made from the JSON, not from the Go value: the template walks it with
// a Node, and every number it prints carries the path of the JSON value it came
// from in a data-json attribute. So the page can hold no number that the JSON
// does not hold, a stored JSON can be rendered later, and a test reads both and
// compares. Start reading at HTML and Node.
package page
