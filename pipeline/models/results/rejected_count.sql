-- How many pickings are set aside or waiting, up to the day `until`? One whose day is unknown counts always.
-- Grain: one row.
-- reads: rejected_pickings
-- writes: nothing
select count(*) as pickings from rejected_pickings where picked_on is null or picked_on <= getvariable('until')
