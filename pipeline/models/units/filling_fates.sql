-- What became of each filling, also of those whose batch was weighed together? A filling of such a batch counts as
-- picked when the batch was, by the day that the filling was closed.
-- Grain: one row per loaded filling of a batch that exists at the as-of date, in the columns of unit_fates.sql.
-- reads: batches, closings, filling_shares, picked_flushes, unit_states
-- writes: filling_fates
create or replace temp view filling_fates as
with present as (
    select line, soak_key from batches where inoculated_on is null or inoculated_on <= getvariable('as_of')
),
ended as (
    select filling_line, closed_on, closed_by, cause
    from closings
    where filling_line is not null and closed_on <= getvariable('as_of')
),
own as (
    select filling_line, min(first_day) as first_picked
    from picked_flushes
    where first_day <= getvariable('as_of') and filling_line is not null
    group by filling_line
),
pooled as (
    select batch_line, min(first_day) as first_picked
    from picked_flushes
    where first_day <= getvariable('as_of') and filling_line is null
    group by batch_line
),
found as (
    select
        f.line,
        f.batch_line,
        p.soak_key,
        e.closed_on,
        e.closed_by,
        e.cause,
        coalesce(s.finished, w.finished) as unit_finished,
        least(o.first_picked, b.first_picked) as first_picked,
        o.first_picked as own_first_picked,
        b.first_picked as pooled_first_picked
    from filling_shares as f
    inner join present as p on p.line = f.batch_line
    left join ended as e on e.filling_line = f.line
    left join unit_states as s on s.unit = f.line
    left join unit_states as w on w.unit = f.batch_line
    left join own as o on o.filling_line = f.line
    left join pooled as b on b.batch_line = f.batch_line
)
select
    line as unit,
    batch_line,
    soak_key,
    closed_on is not null or coalesce(unit_finished, false) as finished,
    own_first_picked is not null
        or coalesce(pooled_first_picked <= coalesce(closed_on, pooled_first_picked), false) as picked,
    coalesce(closed_by = 'contaminated', false) as contaminated,
    coalesce(closed_by = 'contaminated' and (first_picked is null or first_picked > closed_on), false)
        as contaminated_before_pick,
    case when closed_by = 'contaminated' then coalesce(cause, '') else coalesce(closed_by, 'lapsed') end as cause
from found
