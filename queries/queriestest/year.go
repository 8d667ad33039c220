package queriestest

import (
	"database/sql"
	"fmt"
	"strings"
	"testing"
	"time"

	"hindcheck/queries"
)

// yearFlags are the flags of the invented year: the level each demands, how
// often it fires on an animal in need and on one that is not, and how often it
// is not assessed.
var yearFlags = []struct {
	id, title                 string
	level                     int
	inNeed, notInNeed, notAsk float64
}{
	{"collapse", "Collapsed or cannot stand", 4, 0.22, 0.004, 0.02},
	{"hard_breathing", "Breathing is hard work", 4, 0.24, 0.015, 0.05},
	{"pale_gums", "Gums white, grey or blue", 4, 0.20, 0.010, 0.24},
	{"slow_refill", "Gums slow to refill", 3, 0.26, 0.060, 0.38},
	{"swollen_belly", "Belly swollen and hard", 3, 0.18, 0.030, 0.12},
	{"straining", "Straining to pass urine", 3, 0.12, 0.020, 0.06},
	{"unequal_pupils", "Pupils unequal", 3, 0.05, 0.006, 0.30},
	{"bleeding", "Bleeding that does not stop", 4, 0.08, 0.006, 0.02},
	{"no_toe_pinch", "No response to a toe pinch", 3, 0.03, 0.004, 0.62},
	{"dull", "Dull or hard to rouse", 3, 0.30, 0.080, 0.04},
	{"fits", "More than one fit", 4, 0.06, 0.003, 0.01},
	{"maggots", "Maggots under the tail", 3, 0.01, 0.001, 0.45},
}

// YearMeta describes the tables that Year fills.
func YearMeta() queries.Meta {
	m := queries.Meta{
		RuleSet: "example_1", Definition: "example_prompt_care",
		DefinitionText: "An animal needed prompt care when the outcome says so within 72 hours.",
		Window:         72 * time.Hour, Strata: []string{"site", "species"}, Collapse: []string{"site", "species"}, AsOf: 7,
		DataCut: time.Date(2026, 10, 5, 6, 0, 0, 0, time.UTC),
	}
	for _, f := range yearFlags {
		flag := queries.Flag{ID: f.id, Title: f.title, Level: int8(f.level), Findings: []string{"check_" + f.id}}
		if f.id == "slow_refill" {
			flag.Thresholds = []queries.Threshold{{Finding: "refill_s", Text: "2", Stored: 20, Inclusive: true}}
		}
		m.Flags = append(m.Flags, flag)
		m.Findings = append(m.Findings, queries.Finding{ID: "check_" + f.id, Label: f.title, Codes: []string{"no", "yes"}})
	}
	m.Findings = append(m.Findings, queries.Finding{ID: "refill_s", Label: "Seconds until the gums refill", Unit: "s", Scale: 10})
	return m
}

// Year fills an invented advice line with n episodes from July 2025 to
// September 2026. Every value follows from the episode's number, so two runs
// are alike. followUp is the share of animals kept at home that are followed up.
func Year(t testing.TB, n int, followUp float64) *queries.DB {
	t.Helper()
	d, _ := YearTables(t, n, followUp)
	return d
}

// YearTables is Year with the database below it.
func YearTables(t testing.TB, n int, followUp float64) (*queries.DB, *sql.DB) {
	t.Helper()
	meta := YearMeta()
	d, db := Open(t, meta)
	fillYear(t, db, meta, n, followUp)
	return d, db
}

// chance is a number in [0, 1) that depends on the episode and a salt.
func chance(salt string) string { return fmt.Sprintf("(hash(i, '%s') %% 1000003 / 1000003.0)", salt) }

func fillYear(t testing.TB, db *sql.DB, meta queries.Meta, n int, followUp float64) {
	t.Helper()
	var fired, unknown, demanded, findings []string
	for j, f := range yearFlags {
		asked := fmt.Sprintf("%s >= %v * (CASE WHEN need_s = 1 THEN 1.3 ELSE 1 END)", chance("ask"+f.id), f.notAsk)
		hit := fmt.Sprintf("%s < (CASE WHEN need_s = 1 THEN %v ELSE %v END)", chance("hit"+f.id), f.inNeed, f.notInNeed)
		fired = append(fired, fmt.Sprintf("(CASE WHEN %s AND %s THEN 1::UBIGINT << %d ELSE 0::UBIGINT END)", asked, hit, j))
		unknown = append(unknown, fmt.Sprintf("(CASE WHEN %s THEN 0::UBIGINT ELSE 1::UBIGINT << %d END)", asked, j))
		demanded = append(demanded, fmt.Sprintf("CASE WHEN fired_0 >> %d & 1 = 1 THEN %d ELSE 1 END", j, f.level))
		findings = append(findings, fmt.Sprintf("CASE WHEN fired_0 >> %d & 1 = 1 THEN 2 WHEN unknown_0 >> %d & 1 = 0 THEN 1 "+
			"WHEN level = 4 AND %s < 0.5 THEN -4 WHEN %s < 0.2 THEN -2 WHEN %s < 0.3 THEN -3 ELSE -1 END AS f_check_%s",
			j, j, chance("s"+f.id), chance("np"+f.id), chance("d"+f.id), f.id))
	}
	findings = append(findings, fmt.Sprintf("CASE WHEN fired_0 >> 3 & 1 = 1 THEN 20 + 5 * (hash(i, 'refill') %% 3) WHEN unknown_0 >> 3 & 1 = 1 THEN -1 "+
		"WHEN %s < 0.4 THEN 15 ELSE 10 END AS f_refill_s", chance("half")))
	text := fmt.Sprintf(`
INSERT INTO cases BY NAME
WITH a AS (
  SELECT i, TIMESTAMP '2025-07-01' + to_seconds((i * 457 * 86400.0 / %[1]d)::BIGINT) AS started_at,
    (%[2]s < 0.05)::TINYINT AS need_e, (%[2]s < 0.14)::TINYINT AS need_s,
    CASE WHEN %[3]s < 0.5 THEN 'dog' WHEN %[3]s < 0.85 THEN 'cat' WHEN %[3]s < 0.96 THEN 'rabbit' ELSE 'other' END AS species,
    CASE WHEN %[4]s < 0.6 THEN 'harbour' ELSE 'hill' END AS site
  FROM range(%[1]d) t(i)
), b AS (SELECT *, %[5]s AS fired_0, %[6]s AS unknown_0 FROM a
), c AS (SELECT *, greatest(%[7]s)::TINYINT AS rule_level FROM b
), e AS (SELECT *, CASE WHEN %[8]s < 0.05 THEN least(rule_level + 2, 4) WHEN %[8]s < 0.16 THEN greatest(rule_level, 2)
    WHEN %[8]s > 0.97 THEN greatest(rule_level - 1, 1) ELSE rule_level END::TINYINT AS level FROM c
), f AS (SELECT *, CASE
    WHEN level >= 3 AND %[9]s < 0.78 THEN 1
    WHEN level < 3 AND need_s = 1 AND %[9]s < 0.35 THEN 2
    WHEN level < 3 AND need_s = 0 AND %[9]s < 0.03 THEN 2
    WHEN level < 3 AND %[10]s < %[11]v THEN 3 + (%[9]s > 0.6)::INTEGER
    ELSE 0 END::TINYINT AS route FROM e
)
SELECT ('00000000-0000-0000-0001-' || lpad(i::VARCHAR, 12, '0'))::UUID AS episode,
  ('00000000-0000-0000-0001-' || lpad(i::VARCHAR, 12, '0'))::UUID AS call,
  ('00000000-0000-0000-0002-' || lpad((i * 7919 %% (%[1]d * 4 // 5 + 1))::VARCHAR, 12, '0'))::UUID AS animal,
  ('00000000-0000-0000-0003-' || lpad((hash(i, 'adv') %% 14)::VARCHAR, 12, '0'))::UUID AS advisor,
  'practice_' || (hash(i, 'vet') %% 40) AS practice, site, species, 'example' AS complaint, started_at,
  (year(started_at) * 100 + month(started_at))::INTEGER AS month, hour(started_at)::TINYINT AS local_hour, isodow(started_at)::TINYINT AS weekday,
  level, CASE WHEN need_s = 1 AND level < 3 AND %[10]s < 0.3 THEN 4 ELSE 0 END::TINYINT AS later_level, 1 AS contacts,
  coalesce(need_s = 1 AND level < 3 AND %[10]s < 0.4 OR %[10]s < 0.04, false) AS recontact_24h,
  rule_level AS rule_low, rule_level, 4 AS rule_high, fired_0, unknown_0,
  CASE WHEN %[10]s < 0.7 THEN 'free' WHEN %[10]s < 0.9 THEN 'held' ELSE 'wrapped' END AS handling,
  CASE WHEN %[4]s < 0.004 THEN 'bitten' WHEN %[4]s < 0.012 THEN 'scratched' ELSE 'none' END AS person_hurt,
  CASE WHEN level < 3 THEN %[4]s < 0.9 END AS safety_net, route,
  CASE route WHEN 0 THEN 0 WHEN 1 THEN 1 WHEN 2 THEN 1 ELSE 2 END::TINYINT AS outcome_source,
  CASE WHEN route > 0 THEN (60 + hash(i, 'm') %% 3000)::INTEGER END AS outcome_minutes,
  CASE WHEN route = 0 THEN 0 WHEN need_e = 1 THEN 4 WHEN need_s = 1 THEN 3 WHEN %[4]s < 0.5 THEN 2 ELSE 1 END::TINYINT AS vet_level,
  CASE WHEN route IN (1, 2) AND need_e = 1 AND %[10]s < 0.1 THEN 'died' WHEN route > 0 THEN 'treated_sent_home' END AS disposition,
  coalesce(route IN (1, 2) AND need_e = 1 AND %[10]s < 0.1, false) AS died,
  CASE WHEN route = 0 THEN -1 WHEN %[4]s < 0.4 THEN 1 WHEN %[4]s < 0.8 THEN 0 ELSE -1 END::TINYINT AS independent,
  CASE WHEN route > 0 THEN need_e ELSE -1 END::TINYINT AS comp_level_emergency, CASE WHEN route > 0 THEN need_s ELSE -1 END::TINYINT AS comp_level_same_day,
  CASE WHEN route IN (1, 2) THEN (need_s = 1 AND %[3]s < 0.3)::INTEGER ELSE -1 END::TINYINT AS comp_admitted, -1 AS comp_surgery, -1 AS comp_time_critical,
  CASE WHEN route > 0 THEN 0 ELSE -1 END AS comp_death, -1 AS comp_euthanasia,
  CASE WHEN route > 0 THEN need_e ELSE -1 END::TINYINT AS need_emergency, CASE WHEN route > 0 THEN need_s ELSE -1 END::TINYINT AS need_same_day,
  CASE WHEN route IN (1, 2) THEN 1 WHEN level >= 3 AND %[9]s > 0.9 THEN 0 ELSE -1 END::TINYINT AS attended,
  CASE WHEN level >= 3 AND %[9]s > 0.9 THEN CASE WHEN %[9]s > 0.95 THEN 'cost' ELSE 'distance' END END AS no_attend_reason,
  route = 4 AS audit_selected, route = 4 AS audit_responded, (route > 0)::SMALLINT AS outcomes, 0 AS conflicts,
  %[12]s
FROM f`,
		n, chance("need"), chance("species"), chance("site"), strings.Join(fired, " | "), strings.Join(unknown, " | "),
		strings.Join(demanded, ", "), chance("advice"), chance("route"), chance("follow"), followUp, strings.Join(findings, ", "))
	for _, stmt := range []string{text,
		`INSERT INTO calls (call, contact, episode, contact_type, contact_kind, episode_month, started_at, ended_at, animal, advisor, site, species, complaint, level)
		 SELECT call, call, call, 'clinical', 'first', month, started_at, started_at + INTERVAL 6 MINUTE, animal, advisor, site, species, complaint,
		  list_extract(['home_care', 'soon', 'same_day', 'emergency'], level::INTEGER) FROM cases`,
		`INSERT INTO calls (call, contact, episode, contact_type, contact_kind, episode_month, started_at) SELECT uuid(), uuid(), NULL, CASE hash(call) % 3 WHEN 0 THEN 'test' WHEN 1 THEN 'abandoned' ELSE 'not_clinical' END, NULL, month, started_at FROM cases WHERE hash(call) % 23 = 0`,
		`INSERT INTO checks (call, finding, handling, state, reason, episode_month) SELECT call, 'check_pale_gums', handling, CASE WHEN f_check_pale_gums >= 0 THEN 'done' WHEN f_check_pale_gums = -2 THEN 'not_possible'
		 WHEN f_check_pale_gums = -3 THEN 'declined' ELSE 'not_asked' END, NULL, month FROM cases`,
		// Some animals were seen at once: the vet read their gums and refill too.
		`INSERT INTO checks (call, finding, state, episode_month, seq, observer, value_code, value_number)
		 SELECT call, 'check_collapse', 'done', month, 1, 'owner', CASE f_check_collapse WHEN 2 THEN 'yes' ELSE 'no' END, NULL FROM cases WHERE route = 1 AND f_check_collapse > 0
		 UNION ALL SELECT call, 'refill_s', 'done', month, 1, 'owner', NULL, f_refill_s / 10.0 FROM cases WHERE route = 1 AND f_refill_s > 0`,
		`INSERT INTO checks (call, finding, state, episode_month, seq, observer, value_code, value_number, asked_at)
		 SELECT call, 'check_collapse', 'done', month, 1, 'vet', CASE WHEN (f_check_collapse = 2) <> (hash(call) % 17 = 0) THEN 'yes' ELSE 'no' END, NULL,
		  started_at + to_minutes(outcome_minutes) FROM cases WHERE route = 1 AND f_check_collapse > 0
		 UNION ALL SELECT call, 'refill_s', 'done', month, 1, 'vet', NULL, f_refill_s / 10.0 + ((hash(call) % 5)::INTEGER - 1) / 10.0, started_at + to_minutes(outcome_minutes)
		  FROM cases WHERE route = 1 AND f_refill_s > 0`,
		`INSERT INTO outcomes (outcome, call, episode, episode_month, practice, source, route, seen_at, recorded_at, treatment_begun)
		 SELECT uuid(), call, call, month, practice, 'vet', 'advised_visit', started_at + to_minutes(outcome_minutes), started_at + to_minutes(outcome_minutes) + INTERVAL 3 DAY, hash(call) % 4 = 0 FROM cases WHERE route = 1`,
		`INSERT INTO coverage SELECT f.feed, make_date(m.month // 100, m.month % 100, 1), last_day(make_date(m.month // 100, m.month % 100, 1)), TIMESTAMP '2026-10-05', 100
		 FROM (SELECT DISTINCT month FROM cases WHERE month <= 202609) m, (VALUES ('harbour practices'), ('hill practices'), ('follow-up calls')) f(feed)`,
		`INSERT INTO set_aside SELECT 'calls-2026-07.csv', i, CASE WHEN i % 3 = 0 THEN 'Animal' ELSE 'Started' END, CASE WHEN i % 3 = 0 THEN 'unmapped_word' ELSE 'bad_date' END,
		 'text of 8 characters', CASE WHEN i % 3 = 0 THEN 'a word listed under values' ELSE 'a date such as 31.12.2025 14:05' END,
		 CASE WHEN i % 3 = 0 THEN 'add the word under values' ELSE 'mend the row in the export' END FROM range(57) t(i)`,
	} {
		if _, err := db.Exec(stmt); err != nil {
			t.Fatalf("fill the invented year: %v", err)
		}
	}
}
