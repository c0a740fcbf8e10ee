-- How many units lapsed after the day `until`, up to the as-of date.
-- Grain: one row.
-- reads: unit_states
-- writes: nothing
select count(*) as units from unit_states where lapsed and lapses_on > getvariable('until')
