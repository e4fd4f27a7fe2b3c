"""What is allowed and what follows: functions of plain facts, without row, session or clock."""
