-- Which rows of prices, sales and promises cannot be counted, beside those of which a cell says so?
-- Grain: one row per such row.
-- reads: price_faults, repeats_of_prices, repeats_of_promises, repeats_of_sales
-- writes: rejected_books
create or replace table rejected_books as
select 'prices' as table_name, line, 'repeated' as rule, detail from repeats_of_prices
union all
select 'prices', line, rule, detail from price_faults
union all
select 'promises', line, 'repeated', detail from repeats_of_promises
union all
select 'sales', line, 'repeated', detail from repeats_of_sales
