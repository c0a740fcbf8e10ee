-- What became of each traced container, where is it, and what was picked from it alone? Masses in g. What was weighed
-- together for its batch is in no container's figure.
-- Grain: one row per traced filling, or traced batch without filling rows (container empty).
-- reads: fillings, trace_scope, trace_scope_pickings
-- writes: nothing
with own as (
    select
        batch_line,
        container,
        sum(fresh_g) as fresh_g,
        count(*) as pickings,
        min(picked_on) as first_picked,
        max(picked_on) as last_picked
    from trace_scope_pickings
    group by batch_line, container
)
select
    t.batch,
    coalesce(t.container, '') as container,
    coalesce(f.kind, '') as kind,
    coalesce(f.room, '') as room,
    coalesce(f.position, '') as position,
    t.inoculated_on,
    t.state,
    t.closed_on,
    coalesce(t.cause, '') as cause,
    coalesce(o.pickings, 0) as pickings,
    coalesce(o.fresh_g, 0)::double as fresh_g,
    o.first_picked,
    o.last_picked
from trace_scope as t
left join fillings as f on f.line = t.place
left join own as o on o.batch_line = t.batch_line and o.container is not distinct from t.container
where t.traced
order by t.inoculated_on nulls first, t.batch, t.container nulls first
