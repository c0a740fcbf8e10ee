-- Which flush was a picking whose flush cell is blank? Told from the gaps between a filling's picking days.
-- A day's given flush (the highest) holds for its blank rows; a day without one counts gaps from the last given day.
-- Grain: one row per place (filling, or batch as a whole: container '') and day, for places with a blank flush.
create or replace temp table derived_flushes as
with picked as (
    select p.batch, coalesce(p.container, '') as container, h.picked_on as day, h.flush
    from places as p
    inner join stage_harvests as h on h.rowid = p.stage_row
    where p.table_name = 'harvests'
),
blank as (
    select distinct batch, container from picked where flush is null
),
days as (
    select p.batch, p.container, p.day, max(p.flush) as given
    from picked as p
    semi join blank as b on b.batch = p.batch and b.container = p.container
    group by p.batch, p.container, p.day
),
gaps as (
    select
        *,
        case
            when day - lag(day) over (partition by batch, container order by day) >= getvariable('new_flush_after_days')
                then 1
            else 0
        end as gap
    from days
),
counted as (
    select *, sum(gap) over (partition by batch, container order by day) as gaps_so_far
    from gaps
),
anchored as (
    select
        *,
        last_value(given ignore nulls) over (partition by batch, container order by day) as last_given,
        last_value(case when given is not null then gaps_so_far end ignore nulls)
            over (partition by batch, container order by day) as gaps_at_given
    from counted
)
select
    batch,
    container,
    day,
    (coalesce(last_given, 1) + gaps_so_far - coalesce(gaps_at_given, 0))::integer as flush
from anchored
