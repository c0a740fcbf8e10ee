-- The last day with a picking up to the day `until`; null where there is none.
-- Grain: one row.
-- reads: harvest_assignments
-- writes: nothing
select max(picked_on) as picked_on from harvest_assignments where picked_on <= getvariable('until')
