-- When and by what did each unit end, up to the as-of date? A whole batch at once or with the last of its fillings,
-- whichever came first; on one day as in closings.sql: so the words sort.
-- Grain: one row per filling, and per whole batch, that has ended.
-- reads: closings, filling_shares, whole_units
-- writes: unit_ends
create or replace temp view unit_ends as
with all_ended as (
    -- A whole batch has ended when every one of its fillings has, by what ended the last of them.
    select
        f.batch_line,
        max(e.closed_on) as closed_on,
        arg_max(e.closed_by, (e.closed_on, case e.closed_by when 'contaminated' then 2 when 'emptied' then 1 else 0 end))
            as closed_by,
        min(e.cause) filter (where e.closed_by = 'contaminated') as cause
    from filling_shares as f
    inner join whole_units as w on w.batch_line = f.batch_line
    left join closings as e on e.filling_line = f.line and e.closed_on <= getvariable('as_of')
    group by f.batch_line
    having count(*) = count(e.closed_on)
),
whole_ends as (
    select batch_line, closed_on, closed_by, cause
    from (
        select c.batch_line, c.closed_on, c.closed_by, c.cause
        from closings as c
        inner join whole_units as w on w.batch_line = c.batch_line
        where c.filling_line is null and c.closed_on <= getvariable('as_of')
        union all
        select batch_line, closed_on, closed_by, cause from all_ended
    ) as ends
    qualify row_number() over (partition by batch_line order by closed_on, closed_by, cause) = 1
)
select filling_line as unit, closed_on, closed_by, cause
from closings
where filling_line is not null and closed_on <= getvariable('as_of')
union all
select batch_line, closed_on, closed_by, cause
from whole_ends
