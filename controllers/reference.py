"""Reference speed: what a vehicle takes for the train's speed, from its own wheels only.

Shared by strategies that judge slip. Each function returns the new reference; the strategy keeps
the old one in its memory's last row.
"""

from numba import njit


@njit(error_model="numpy")
def highest_axle(observation, column, previous, slowing_limit, sample_time):
    """Return the highest measured wheel speed, never falling faster than a train can slow.

    Parameters
    ----------
    observation : (n_axles, n_observed)
    column : int            of the measured wheel speed
    previous : float        reference a sample ago. [m/s]
    slowing_limit : float   largest believed deceleration of the train. [m/s2]
    sample_time : float     [s]

    Returns
    -------
    float   [m/s]

    Notes
    -----
    v = max(highest wheel, v_before - a Ts), the usual form (from memory, not verified). When every
    axle slides at once the reference falls with the limit: too fast by the limit less the true
    deceleration, so a long common slide is seen as ever less slip, until one wheel rolls again and
    lifts it. Creepage of a rolling wheel makes it read one or two per cent low.
    """
    highest = previous - slowing_limit * sample_time
    for i_axle in range(observation.shape[0]):
        highest = max(highest, observation[i_axle, column])
    return max(highest, 0.0)
