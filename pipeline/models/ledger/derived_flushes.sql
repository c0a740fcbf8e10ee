-- Which flush was a picking whose flush cell is blank? Worked out from the gaps between a filling's picking days. A day's
-- given flush (the highest) holds for its blank rows; a day without one counts gaps from the last given day.
-- Grain: one row per place (filling, or batch for what was weighed together) and day, for places with a blank flush.
-- reads: assignments, repeats
-- writes: derived_flushes
create or replace temp table derived_flushes as
with blank as (
    select distinct place_line from assignments where flush is null and fresh_weight_g is not null
),
days as (
    select p.place_line, p.day, max(p.flush) as given
    from assignments as p
    semi join blank as b on b.place_line = p.place_line
    anti join repeats as r on r.line = p.line
    where p.fresh_weight_g is not null
    group by p.place_line, p.day
),
gaps as (
    select
        *,
        case when day - lag(day) over (partition by place_line order by day) >= getvariable('new_flush_after_days')
            then 1 else 0 end as gap
    from days
),
counted as (
    select *, sum(gap) over (partition by place_line order by day) as gaps_so_far
    from gaps
),
anchored as (
    select
        *,
        last_value(given ignore nulls) over (partition by place_line order by day) as last_given,
        last_value(case when given is not null then gaps_so_far end ignore nulls)
            over (partition by place_line order by day) as gaps_at_given
    from counted
)
select
    place_line,
    day,
    (coalesce(last_given, 1) + gaps_so_far - coalesce(gaps_at_given, 0))::integer as flush
from anchored
