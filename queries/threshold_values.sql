-- name: threshold_values
-- answers: How often was each value of one finding recorded, by where and in what state the animal was, and by need,
--   route, advice and stratum? The accuracy of every threshold is a sum of these rows. Home is not the clinic, so
--   readings of different settings are never added up.
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- param: mature_before time, an episode whose first contact is earlier is mature
-- param: cut level, need is need for care at this level: same_day or emergency
-- param: finding finding, id of the finding
-- column: month, of the first contact, yyyymm
-- column: species, of the animal; empty if not recorded
-- column: setting, home, car or clinic; empty if not recorded or not assessed
-- column: animal_state, asleep, at_rest or excited; empty if not recorded or not assessed
-- column: value, code counted from 1, or reading times scale; below 0 not assessed (-1 not asked, -2 not possible,
--   -3 declined, -4 stopped early)
-- column: need, 1 needed, 0 not needed, -1 not verified
-- column: route, 0 none, 1 advised visit, 2 own decision, 3 call-back, 4 audit
-- column: level, advice at the first contact, 0 none to 4 emergency
-- column: mature, whether outcomes had time to arrive
-- column: stratum, the recorded properties beside the level
-- column: n, episodes
-- row: one row per month, species, setting, state, value, need, route, level, maturity and stratum that occurs
WITH reading AS (
  -- The reading that counts is the last one of the first contact, as in cases.
  SELECT c.episode, arg_max(coalesce(k.setting, ''), k.seq) AS setting, arg_max(coalesce(k.animal_state, ''), k.seq) AS animal_state
  FROM checks k JOIN calls c ON c.call = k.call JOIN calls o ON o.call = c.episode AND o.contact = c.contact
  WHERE k.finding = $finding AND k.state = 'done' AND k.observer IS DISTINCT FROM 'vet'
  GROUP BY c.episode
)
SELECT month, coalesce(species, '') AS species, setting, animal_state, value, need, route, level, mature, {{stratum}} AS stratum, n
FROM (
  SELECT c.month, CASE WHEN c.{{finding}} >= 0 THEN coalesce(r.setting, '') ELSE '' END AS setting,
    CASE WHEN c.{{finding}} >= 0 THEN coalesce(r.animal_state, '') ELSE '' END AS animal_state,
    coalesce(c.{{finding}}, -1)::INTEGER AS value, CASE WHEN $cut::INTEGER = 4 THEN c.need_emergency ELSE c.need_same_day END AS need,
    c.route, c.level, c.started_at < $mature_before AS mature, {{keys}}, count(*) AS n
  FROM cases c LEFT JOIN reading r ON r.episode = c.episode
  WHERE c.month BETWEEN $from_month AND $to_month
  GROUP BY ALL
)
ORDER BY ALL
