-- How many prices and sales are there?
-- Grain: one row.
-- reads: prices, sales
-- writes: nothing
select (select count(*) from prices) + (select count(*) from sales) as rows
