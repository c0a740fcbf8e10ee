-- The rows that a refresh changes: those that came, those that went, and of those that changed both.
-- Grain: one row per line and content that stands on one side only.
-- reads: row_versions
-- writes: changed_rows
create or replace temp table changed_rows as
select table_name, line, any_value(batch) as batch, any_value(container) as container,
    any_value(inoculated_on) as inoculated_on, sum(side) as side
from row_versions
group by table_name, line, content
having sum(side) <> 0
