"""What every step shares: intervals, errors of meters, the calendar, plain text.

In: numbers and strings. Out: `Interval` and the constants beside it. Imports nothing of the
package but `errors`.
"""
