-- What was found in single cells, or in a file as a whole, while it was read.
-- Grain: one row per finding.
-- reads: nothing
-- writes: cell_findings
create table cell_findings (
    table_name varchar,
    file varchar,
    row integer,
    column_name varchar,
    rule varchar,
    level varchar,
    value varchar
)
