/* What both versions of the interface do alike; see unit.h. */
#include "unit.h"

static const uint64_t MARK = STATE_MARK; /* of a state: it belongs to this very unit */

char *model_bytes(State *state) { return (char *)state + HEADER_SIZE; }

int unit_make(Unit *unit)
{
    unit->block = unit->allocate(1, STATE_SIZE + 64);
    if (unit->block == NULL)
        return ERROR;
    unit->state = (State *)(((uintptr_t)unit->block + 63) / 64 * 64);
    unit_reset(unit);
    return OK;
}

void unit_free(Unit *unit)
{
    if (unit->block != NULL)
        unit->let_go(unit->block);
    unit->block = NULL;
}

void unit_reset(Unit *unit)
{
    memset(unit->state, 0, STATE_SIZE);
    memcpy(unit->state->values, unit_starts, sizeof unit_starts);
    unit->state->mode = INSTANTIATED;
    unit->state->is_stale = 1;
}

int unit_fail(Unit *unit, const char *message)
{
    unit->state->mode = FAILED;
    if (unit->log != NULL)
        unit->log(unit->environment, ERROR, message);
    return ERROR;
}

/* Let the model start from its parameters, if any were set since it did. */
int unit_settle(Unit *unit)
{
    if (unit->state->mode != INITIALISING || !unit->state->is_stale)
        return OK;
    unit->state->is_stale = 0;
    return model_start(unit);
}

int unit_enter(Unit *unit, double start)
{
    if (unit->state->mode != INSTANTIATED)
        return unit_fail(unit, "initialisation is entered once, after instantiation or reset");
    if (start != 0.0)
        return unit_fail(unit, "the experiment starts at time 0");
    unit->state->mode = INITIALISING;
    unit->state->is_stale = 1;
    return unit_settle(unit);
}

int unit_leave_initialisation(Unit *unit)
{
    int status;
    if (unit->state->mode != INITIALISING)
        return unit_fail(unit, "initialisation is left after it was entered");
    status = unit_settle(unit);
    if (status == OK)
        unit->state->mode = STEPPING;
    return status;
}

int unit_step(Unit *unit, double time, double step)
{
    double expected = unit->state->time;
    int status;
    if (unit->state->mode != STEPPING)
        return unit_fail(unit, "a step is done between initialisation and the end");
    if (!(step > 0.0) || !(step < 1e6) || fabs(time - expected) > 1e-6 * (1.0 + fabs(expected)))
        return unit_fail(unit, "steps follow each other in time and are longer than nothing");
    status = model_step(unit, time, step);
    unit->state->time = time + step;
    return status;
}

/* Return a variable if it is there, of a kind, and may be set or got now; else fail. */
const Variable *unit_variable(Unit *unit, unsigned reference, int kind, int is_set)
{
    const Variable *found;
    if (reference >= N_VARIABLES || unit_variables[reference].kind != kind) {
        unit_fail(unit, "a value reference is unknown, or of another type");
        return NULL;
    }
    found = &unit_variables[reference];
    if (!is_set)
        return found;
    if (found->causality == OUTPUT || found->causality == CONSTANT ||
        (found->causality == FIXED && unit->state->mode > INITIALISING)) {
        unit_fail(unit, "a variable was set that cannot be, or not any more");
        return NULL;
    }
    if (found->causality != INPUT)
        unit->state->is_stale = 1;
    return found;
}

/* A state is the unit's mark, its size, and a copy of the block. */
void *unit_copy_state(Unit *unit, void *into)
{
    char *copy = into != NULL ? into : unit->allocate(1, STATE_SIZE + 16);
    uint64_t size = STATE_SIZE;
    if (copy == NULL)
        return NULL;
    memcpy(copy, &MARK, 8);
    memcpy(copy + 8, &size, 8);
    memcpy(copy + 16, unit->state, STATE_SIZE);
    return copy;
}

int unit_take_state(Unit *unit, const void *from, size_t size)
{
    uint64_t inner;
    if (size != STATE_SIZE + 16 || memcmp(from, &MARK, 8) != 0)
        return unit_fail(unit, "a state of another unit, or cut short");
    memcpy(&inner, (const char *)from + 8, 8);
    if (inner != STATE_SIZE)
        return unit_fail(unit, "a state of another size");
    memcpy(unit->state, (const char *)from + 16, STATE_SIZE);
    return OK;
}
