-- The names that can be traced, of the containers in the scope of a trace. kind: spawn_lot, soak, batch, container.
-- Grain: one row per kind and name.
-- reads: trace_scope
-- writes: nothing
select distinct 'spawn_lot' as kind, spawn_lot as name from trace_scope where spawn_lot is not null
union all
select distinct 'soak', soak from trace_scope
union all
select distinct 'batch', batch from trace_scope
union all
select distinct 'container', container from trace_scope where container is not null
order by kind, name
