-- Which pickings came from the traced containers, up to the as-of date? Masses in g. container null: weighed together
-- for the batch, while one of its traced containers had not ended; never divided. asked: of the day that the question
-- names; all of them where it names none.
-- Grain: one row per loaded picking of a traced container, or of a traced container's batch weighed together.
-- reads: harvest_assignments, rows_of_harvests, trace_scope
-- writes: trace_scope_pickings
create or replace temp table trace_scope_pickings as
with traced as (
    select place, batch_line, batch, container, closed_on from trace_scope where traced
),
together as (
    select batch_line, min(batch) as batch, max(coalesce(closed_on, date '9999-12-31')) as last_end
    from traced
    group by batch_line
),
found as (
    select h.line, h.picked_on, h.fresh_weight_g, h.flush, t.batch_line, t.batch, t.container
    from harvest_assignments as h
    inner join traced as t on t.place = h.filling_line
    union all
    select h.line, h.picked_on, h.fresh_weight_g, h.flush, t.batch_line, t.batch, null
    from harvest_assignments as h
    inner join together as t on t.batch_line = h.batch_line and h.picked_on <= t.last_end
    where h.filling_line is null
)
select
    f.line,
    f.picked_on,
    f.batch_line,
    f.batch,
    f.container,
    f.fresh_weight_g as fresh_g,
    f.flush,
    r.picker,
    coalesce(f.picked_on = getvariable('trace_picked'), getvariable('trace_picked') is null) as asked,
    r.file,
    r.row
from found as f
inner join rows_of_harvests as r on r.line = f.line
where f.picked_on <= getvariable('as_of')
