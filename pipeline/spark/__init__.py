"""The measures of many farms on a distributed engine, Apache Spark: the SQL of pipeline/models, said in its words."""
