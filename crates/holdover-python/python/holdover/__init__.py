from holdover._native import Check, Columns, Field, Layout, Refused, Table, __version__
