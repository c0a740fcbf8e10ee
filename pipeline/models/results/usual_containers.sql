-- How many fillings a batch usually has: the median, null without fillings.
-- Grain: one row.
-- reads: fillings
-- writes: nothing
select median(n) as containers from (select count(*) as n from fillings group by batch_line)
