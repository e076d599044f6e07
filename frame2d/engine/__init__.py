"""The compiled core: sparse factorisation on a fixed pattern, evaluation of parts, Newton iteration, time steps.

| file | lives there |
| --- | --- |
| ordering | elimination order and the pattern of the factor, once per system |
| factor | numeric LDLᵀ on that pattern, solves, their quality |
| plan | the arrays that compiled code reads and writes |
| evaluate | internal forces and tangent at a trial displacement |
| newton | iteration to equilibrium with line search |
| implicit | one step of the generalized-alpha family, and the loop over a record |
| explicit | one step of the explicit and operator-splitting schemes |
| path | load, displacement and arc-length control in statics |
"""
