-- Which flush was a picking whose flush cell is blank? Worked out from the gaps between a place's picking days. A day's
-- given flush (the highest) holds for its blank rows; a day without one counts gaps from the last given day.
-- Grain: one row per place (filling, or batch for what was weighed together) and day, for places with a blank flush.
-- reads: flush_rule, picking_days
-- writes: derived_flushes
create or replace temp table derived_flushes as
with counted as (
    select
        p.place_line,
        p.day,
        p.given,
        sum(case when p.gap_days >= r.new_flush_after_days then 1 else 0 end)
            over (partition by p.place_line order by p.day) as gaps_so_far
    from picking_days as p
    cross join flush_rule as r
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
