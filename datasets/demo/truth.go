package demo

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strconv"
)

// WriteTruth writes what the exports do not show, as CSV with a comma, one row
// an episode: the call that carries the first advice (number and line, and the
// contact number under which a transfer began), what was advised and how soon
// the animal truly had to be seen. It never belongs into the exports' folder.
func WriteTruth(o Options, w io.Writer) error {
	o, err := o.withDefaults()
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(w, 1<<16)
	out.WriteString("call_no,line,contact_no,animal_key,site,species,complaint,started_utc,level,rule_level,need," +
		"need_emergency,need_same_day,attended\n")
	r := row{sep: ',', piece: o.Piece}
	err = eachUnit(context.Background(), o, func(_ *model, u *unit) error {
		for k := range u.n {
			truthRow(&r, u, &u.eps[k])
			if _, err := out.Write(r.end()); err != nil {
				return fmt.Errorf("write the truth: %w", err)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write the truth: %w", err)
	}
	return nil
}

func truthRow(r *row, u *unit, e *episode) {
	c := e.first()
	r.reset()
	r.key('C', c.number)
	r.whole(int64(e.line))
	r.key('C', u.number)
	r.key('A', int64(e.pet.id)+500000)
	r.text(SiteIDs[e.home.site])
	r.text(speciesID[e.pet.species])
	r.text(conditions[e.condition].complaint)
	r.isoTime(u.start, 0)
	r.text(c.level.String())
	r.text(c.ruleLevel.String())
	r.text(Level(e.need + 1).String())
	r.text(yesNoWords[1+b2i(e.need != 3)])
	r.text(yesNoWords[1+b2i(e.need < 2)])
	r.text(yesNoWords[1+b2i(!e.fate.seen)])
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// WriteTrueSigns writes, one row a check of a first contact that was made, the
// owner's answer as the store should hold it beside the true sign.
func WriteTrueSigns(o Options, w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	out.WriteString("call_no,line,finding,recorded,true\n")
	var buf []byte
	var failed error
	err := Simulate(o, func(e *Episode) {
		for f := range e.Readings {
			x := &e.Readings[f]
			if x.State != Done || failed != nil {
				continue
			}
			buf = append(buf[:0], 'C')
			buf = strconv.AppendInt(buf, e.Call, 10)
			buf = append(buf, ',')
			buf = strconv.AppendInt(buf, int64(e.Line), 10)
			buf = append(buf, ',')
			buf = append(buf, findingTable[f].id...)
			buf = append(buf, ',')
			buf = strconv.AppendInt(buf, int64(x.Recorded), 10)
			buf = append(buf, ',')
			buf = strconv.AppendInt(buf, int64(x.True), 10)
			buf = append(buf, '\n')
			_, failed = out.Write(buf)
		}
	})
	if err != nil {
		return err
	}
	if failed == nil {
		failed = out.Flush()
	}
	if failed != nil {
		return fmt.Errorf("write the true signs: %w", failed)
	}
	return nil
}
