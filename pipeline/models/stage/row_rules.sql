-- The rules on whole rows, by the contracts: the column that each looks at ("" for several), and how severe it is.
-- Grain: one row per input table and rule.
-- reads: nothing
-- writes: row_rules
create table row_rules as
select v.table_name, v.rule, v.column_name, v.level
from (
    values
    {row rules of contracts}
) as v (table_name, rule, column_name, level)
