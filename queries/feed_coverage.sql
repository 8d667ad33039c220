-- name: feed_coverage
-- answers: Which feed delivered outcomes for which days of each month? A feed that never came is not "no outcome".
-- param: from_month month, first month of the first contacts, included
-- param: to_month month, last month, included
-- column: feed, name of the practice system or site
-- column: month, yyyymm
-- column: days, days of that month which a delivery covers
-- column: days_in_month, days of that month
-- column: last_delivery, latest delivery that covers any of them, null none
-- row: one row per feed known to the store and month
WITH months AS (
  SELECT day::DATE AS first_day, last_day(day::DATE) AS final_day
  FROM unnest(generate_series(make_date($from_month // 100, $from_month % 100, 1)::TIMESTAMP,
    make_date($to_month // 100, $to_month % 100, 1)::TIMESTAMP, INTERVAL 1 MONTH)) AS t(day)
), days AS (
  SELECT m.first_day, m.final_day, unnest(generate_series(m.first_day::TIMESTAMP, m.final_day::TIMESTAMP, INTERVAL 1 DAY))::DATE AS day
  FROM months m
), feeds AS (SELECT DISTINCT feed FROM coverage)
SELECT f.feed, (year(d.first_day) * 100 + month(d.first_day))::INTEGER AS month,
  count(DISTINCT d.day) FILTER (c.feed IS NOT NULL) AS days, count(DISTINCT d.day) AS days_in_month,
  max(c.delivered_at) AS last_delivery
FROM feeds f CROSS JOIN days d
LEFT JOIN coverage c ON c.feed = f.feed AND d.day BETWEEN c.from_date AND c.to_date
GROUP BY f.feed, d.first_day
ORDER BY f.feed, month
