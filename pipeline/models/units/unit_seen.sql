-- Which observations concern which unit, up to the as-of date? What was seen of a batch as a whole holds for each of
-- its fillings, unless its count is below theirs. A whole batch has all the observations of its batch.
-- Grain: one row per unit and observation that concerns it.
-- reads: filling_shares, observation_assignments, units, whole_units
-- writes: unit_seen
create or replace temp view unit_seen as
with seen as not materialized (
    select batch_line, filling_line, seen_on, event, flush, cause, count
    from observation_assignments
    where seen_on <= getvariable('as_of')
),
filled as (
    select batch_line, count(*) as fillings from filling_shares group by batch_line
)
select s.filling_line as unit, s.seen_on, s.event, s.flush, s.cause
from seen as s
anti join whole_units as w on w.batch_line = s.batch_line
where s.filling_line is not null
union all
select s.batch_line, s.seen_on, s.event, s.flush, s.cause
from seen as s
inner join whole_units as w on w.batch_line = s.batch_line
union all
select u.unit, s.seen_on, s.event, s.flush, s.cause
from seen as s
inner join units as u on u.batch_line = s.batch_line and not u.whole
inner join filled as f on f.batch_line = s.batch_line
where s.filling_line is null and (s.count is null or s.count >= f.fillings)
