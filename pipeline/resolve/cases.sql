-- cases: one row an episode, the narrow table on which everything is counted.
-- Made by resolve.CasesSQL from records of whole months; names in double braces are
-- filled in there, from checked identifiers only.
WITH
clinical AS (
  SELECT *, CASE level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 ELSE 0 END AS level_no,
    CASE rule_level WHEN 'emergency' THEN 4 WHEN 'same_day' THEN 3 WHEN 'soon' THEN 2 WHEN 'home_care' THEN 1 ELSE 0 END AS rule_no
  FROM ({{.Calls}}) WHERE contact_type = 'clinical' AND episode IS NOT NULL),
-- The record that opened the episode.
clock AS ({{.Clock}}),
opening AS (
  SELECT *, {{.LocalStart}} AS local_start FROM clinical JOIN clock ON {{.OnClock}} WHERE {{.Opening}}),
-- All records of the first contact: a transfer has two numbers, and the advice
-- is what the last of them said.
first_contact AS (
  SELECT c.call, c.episode, c.started_at, c.level_no, c.rule_no, c.ruleset, c.person_hurt, c.safety_net, c.call_seconds
  FROM clinical c JOIN opening o ON c.episode = o.episode AND c.contact = o.contact),
advice AS (
  SELECT episode,
    coalesce(arg_max(level_no, started_at) FILTER (WHERE level_no > 0), 0)::TINYINT AS level,
    coalesce(arg_max(rule_no, started_at) FILTER (WHERE rule_no > 0), 0)::TINYINT AS recorded_rule_level,
    arg_max(ruleset, started_at) AS ruleset,
    CASE WHEN bool_or(person_hurt = 'bitten') THEN 'bitten' WHEN bool_or(person_hurt = 'scratched') THEN 'scratched'
      ELSE max(person_hurt) END AS person_hurt,
    bool_or(safety_net) AS safety_net, sum(call_seconds)::INTEGER AS call_seconds
  FROM first_contact GROUP BY episode),
contacts AS (
  SELECT c.episode,
    coalesce(max(c.level_no) FILTER (WHERE c.contact <> o.contact), 0)::TINYINT AS later_level,
    count(DISTINCT c.contact)::SMALLINT AS contacts,
    coalesce(bool_or(c.contact <> o.contact AND c.contact_kind = 're_contact' AND epoch_us(c.started_at) - epoch_us(o.started_at) <= {{.Day}}), false) AS recontact_24h
  FROM clinical c JOIN opening o ON c.episode = o.episode GROUP BY c.episode),
-- Readings of the first contact, each packed into one whole number: the higher
-- half is its place (the last one done wins over earlier ones, and any reading
-- over a blank), the lower half its code as stored, moved up to be positive. A finding's column is
-- then the maximum of packed * (no = its number), 0 for none: a FILTER for each
-- column would cut the whole batch anew, once a column.
dict AS (SELECT * FROM (VALUES {{.Numbers}}) AS t(finding, no, scale, highest)),
code AS (SELECT * FROM (VALUES {{.Codes}}) AS t(no, code, number)),
readings AS (
  SELECT f.episode, n.no,
    CASE k.handling WHEN 'refused' THEN 4 WHEN 'wrapped' THEN 3 WHEN 'held' THEN 2 WHEN 'free' THEN 1 END::TINYINT AS handled,
    (CASE WHEN k.state = 'done' THEN 100000::BIGINT ELSE 0::BIGINT END + k.seq) * 4294967296 + {{.Lift}} +
    CASE WHEN k.state = 'done' THEN coalesce(d.number, CASE WHEN k.value_number >= 0 AND k.value_number * n.scale <= n.highest THEN round(k.value_number * n.scale)::INTEGER END, -1)
      WHEN k.state = 'not_possible' THEN -2 WHEN k.state = 'declined' THEN -3
      WHEN k.reason = 'stopped_early' THEN -4 ELSE -1 END AS packed
  FROM ({{.Checks}}) k JOIN first_contact f USING (call)
  LEFT JOIN dict n ON n.finding = k.finding
  LEFT JOIN code d ON d.no = n.no AND d.code = k.value_code
  WHERE k.observer IS DISTINCT FROM 'vet'),
wide AS (
  SELECT episode,
    CASE max(handled) WHEN 4 THEN 'refused' WHEN 3 THEN 'wrapped' WHEN 2 THEN 'held' WHEN 1 THEN 'free' END AS handling,
    {{.Pivot}}
  FROM readings GROUP BY episode),
ep AS (SELECT episode, started_at FROM opening),
oc AS (SELECT * FROM ({{.Outcomes}}) WHERE episode IS NOT NULL),
found AS ({{.Found}}),
base AS (
  SELECT o.episode, o.call, o.animal, o.owner, o.advisor, o.site, o.species, o.breed_group, o.sex, o.neutered, o.age_months, o.complaint,
    timezone('UTC', o.started_at) AS started_at, (year(local_start) * 100 + month(local_start))::INTEGER AS month,
    hour(local_start)::TINYINT AS local_hour, isodow(local_start)::TINYINT AS weekday,
    a.ruleset, a.recorded_rule_level, a.level, t.later_level, t.contacts, t.recontact_24h, w.handling, a.person_hurt, a.safety_net, a.call_seconds,
    {{.Findings}}
  FROM opening o JOIN advice a ON a.episode = o.episode JOIN contacts t ON t.episode = o.episode LEFT JOIN wide w ON w.episode = o.episode),
ruled AS ({{.Ruled}})
SELECT {{.Select}}
FROM ruled b LEFT JOIN found f ON f.episode = b.episode
