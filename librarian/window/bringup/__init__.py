"""The bring-up report: an instrument held against its chart, read, saved, compared with an earlier one."""
