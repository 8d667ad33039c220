package demo_test

import (
	"fmt"
	"log"

	"hindcheck/datasets/demo"
)

// The truth lies beside what the line recorded.
func ExampleSimulate() {
	needed, caught := 0, 0
	err := demo.Simulate(demo.Options{Seed: 1, Calls: 5000}, func(e *demo.Episode) {
		if e.NeedSameDay {
			needed++
			if e.Level >= demo.SameDay {
				caught++
			}
		}
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("more than nine in ten caught: %v\n", caught*10 > needed*9)
	// Output: more than nine in ten caught: true
}
