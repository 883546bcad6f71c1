"""A folder that starts Busbox on computers without a network: wheels, a start script, a README."""
