-- Which pickings count for a comparison: of the flushes up to the one asked for or, with to_day, up to that age in days?
-- Masses in g.
-- Grain: one row per picking that counts.
-- reads: unit_pickings, units
-- writes: counted_pickings
create or replace temp view counted_pickings as
select p.line, p.unit, p.picked_on, p.fresh_weight_g, p.culled_g, p.stage_rank
from unit_pickings as p
inner join units as u on u.unit = p.unit
where case
        when getvariable('to_day') is null then p.flush <= getvariable('through')
        else p.picked_on - u.inoculated_on <= getvariable('to_day')
    end
