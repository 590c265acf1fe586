"""Coefficients of the ice, hydrohalite and halite lines; written by
`brineward.fitting.phases`."""

EUTECTIC_MASS_FRACTION = 0.2331
"""Salt Institute."""
EUTECTIC_C = -21.133716
"""Of the fitted ice line at that strength; published as -21.1 and -21.11."""
TRANSITION_C = 0.1
"""Salt Institute."""

OSMOTIC = (0.0452806177705, 0.223433516772, 0.00315549851598)
"""Pitzer's beta0, beta1 (kg/mol) and C-phi (kg2/mol2) along the freezing line."""
HYDROHALITE = (1.91390214362, -8.69361396401, -7.89013808869)
"""a, b, c of ln(molality) = a + b (298.15/T - 1) + c ln(T/298.15)."""
HALITE = (1.81800462977, 1.49123263285, 1.65239204851)
"""The same for halite."""
