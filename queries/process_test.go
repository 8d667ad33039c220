package queries_test

import (
	"testing"

	"hindcheck/queries/queriestest"
)

func TestMonths(t *testing.T) {
	d, _ := line(t)
	got, err := d.Months(ctx)
	same(t, got, err, "202605 1 \n 202606 11 \n 202607 2")
	none, err := nobody(t).Months(ctx)
	same(t, none, err, "")
}

func TestProcessByMonth(t *testing.T) {
	d, _ := line(t)
	got, err := d.ProcessByMonth(ctx, scope)
	// month, episodes mature | emergency same_day soon home none | undetermined raised lowered |
	// recontact raised_later safety_net known | with_outcome followed_up verified needed missed emergency_missed died_advised_less | no_show died hurt
	same(t, got, err, `
		202606 11 11 3 2 1 4 1 1 2 1 1 1 1 2 7 2 7 5 2 1 1 1 1 2
		202607 2 0 0 1 0 1 0 0 1 0 0 0 0 0 1 0 1 0 0 0 0 0 0 0
	`)
	none, err := nobody(t).ProcessByMonth(ctx, scope)
	same(t, none, err, "")
}

func TestContactTypes(t *testing.T) {
	d, db := queriestest.Open(t, meta)
	contact := queriestest.ID(1)
	for i, r := range []row{
		{"contact": contact, "contact_type": "clinical", "contact_kind": "first"},
		{"contact": contact, "contact_type": "clinical", "contact_kind": "first"}, // two animals, one contact
		{"contact": queriestest.ID(2), "contact_type": "clinical", "contact_kind": "re_contact"},
		{"contact": queriestest.ID(3), "contact_type": "test", "contact_kind": nil},
		{"contact": queriestest.ID(4), "contact_type": "abandoned", "contact_kind": nil},
	} {
		r["call"], r["episode_month"] = queriestest.ID(10+i), 202606
		queriestest.Insert(t, db, "calls", r)
	}
	got, err := d.ContactTypes(ctx, scope)
	same(t, got, err, `
		abandoned 1 1
		clinical first 1 2
		clinical re_contact 1 1
		test 1 1
	`)
	none, err := nobody(t).ContactTypes(ctx, scope)
	same(t, none, err, "")
}

func TestFlow(t *testing.T) {
	d, _ := line(t)
	got, err := d.Flow(ctx, scope)
	// level episodes immature no_outcome visit own call_back audit lost unverified needed not_needed selected responded conflicts
	same(t, got, err, `
		4 3 0 0 3 0 0 0 0 0 3 0 0 0 1
		3 3 1 1 1 0 0 0 0 0 0 1 0 0 0
		2 1 0 0 0 0 0 1 0 0 1 0 1 1 0
		1 5 1 2 0 1 1 0 0 0 1 1 1 0 0
		0 1 0 1 0 0 0 0 0 0 0 0 0 0 0
	`)
	none, err := nobody(t).Flow(ctx, scope)
	same(t, none, err, "")
}

func TestPersonHurt(t *testing.T) {
	d, _ := line(t)
	got, err := d.PersonHurt(ctx, scope)
	same(t, got, err, `
		202606 bitten refused dog 1
		202606 scratched wrapped cat 1
	`)
	none, err := nobody(t).PersonHurt(ctx, scope)
	same(t, none, err, "")
}

func TestSubgroups(t *testing.T) {
	d, _ := line(t)
	got, err := d.Subgroups(ctx, scope)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got {
		if r.Property == "species" && r.Value == "cat" && (r.N != 2 || r.Escalated != 1) {
			t.Errorf("cats: %+v, want 3 (escalated) and 6", r)
		}
		if r.Property == "site" && r.Value == "" && r.N != 1 {
			t.Errorf("blank site: %+v, want 13", r)
		}
	}
	none, err := nobody(t).Subgroups(ctx, scope)
	same(t, none, err, "")
}
