-- What was picked in each month counting the pickings that only wait for another row to be mended? Masses in g.
-- Grain: one row per month with pickings that are loaded or wait.
-- reads: files, findings, stage_harvests, unit_pickings
-- writes: nothing
with waiting as (
    select file, row, min(waits_file) as waits_file, arg_min(waits_row, waits_file) as waits_row
    from findings
    where table_name = 'harvests' and level = 'waiting'
    group by file, row
),
weighed as (
    select strftime(h.picked_on, '%Y-%m') as month, h.fresh_weight_g, w.waits_file, w.waits_row
    from waiting as w
    inner join files as f on f.file = w.file and f.table_name = 'harvests'
    -- A line is made so: see row_of and file_part_of.
    inner join stage_harvests as h on h.line = (f.file_part << 32) + w.row::ubigint
    where h.picked_on <= getvariable('as_of') and h.fresh_weight_g is not null
),
waits as (
    select
        month,
        count(*) as pickings,
        sum(fresh_weight_g) as fresh_g,
        count(distinct (waits_file, waits_row)) as rows_awaited,
        case when count(distinct waits_file) = 1 then min(waits_file) end as awaited_file
    from weighed
    group by month
),
picked_days as (
    -- Of each day first: there are fewer days to be said as months than pickings.
    select picked_on, sum(fresh_weight_g) as fresh_g from unit_pickings group by picked_on
),
picked as (
    select strftime(picked_on, '%Y-%m') as month, sum(fresh_g) as fresh_g from picked_days group by all
)
select
    coalesce(p.month, w.month) as month,
    coalesce(w.pickings, 0) as pickings_waiting,
    coalesce(w.fresh_g, 0)::double as waiting_g,
    (coalesce(p.fresh_g, 0) + coalesce(w.fresh_g, 0))::double as picked_and_waiting_g,
    coalesce(w.rows_awaited, 0) as rows_awaited,
    coalesce(w.awaited_file, '') as awaited_file
from picked as p
full join waits as w on w.month = p.month
order by month
