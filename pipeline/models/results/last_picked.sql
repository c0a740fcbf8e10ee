-- The last day with a picking up to the day `until`; null where there is none.
-- Grain: one row.
-- reads: harvest_places
select max(picked_on) as picked_on from harvest_places where picked_on <= getvariable('until')
