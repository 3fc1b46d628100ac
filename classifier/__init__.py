"""The core: rules, arithmetic and inference that the service and the training code share.

Log arithmetic lives here too, under a name that suggests only recognition, because this is the
only package that both `service` and `training` may import. Importing it loads nothing else.
"""
