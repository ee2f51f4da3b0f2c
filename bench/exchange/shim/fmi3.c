/* The functions of FMI 3.0: co-simulation, and refusals for all the rest of the 75. */
#include <stdbool.h>

#include "unit.h"

typedef struct {
    Unit unit;
    void (*message)(void *, int, const char *, const char *);
    void *environment;
} Instance;

static void say(void *instance, int status, const char *message)
{
    Instance *i = instance;
    if (i->message != NULL)
        i->message(i->environment, status, "logStatusError", message);
}

EXPORT const char *fmi3GetVersion(void) { return "3.0"; }
EXPORT int fmi3SetDebugLogging(void *c, bool on, size_t n, const char *const categories[])
{
    (void)c, (void)on, (void)n, (void)categories;
    return OK;
}

EXPORT void *fmi3InstantiateCoSimulation(
    const char *name, const char *token, const char *resources, bool visible, bool logging,
    bool events, bool early, const uint32_t required[], size_t n_required, void *environment,
    void (*message)(void *, int, const char *, const char *), void *update)
{
    Instance *i;
    (void)name, (void)resources, (void)visible, (void)logging, (void)early, (void)required;
    (void)update, (void)events; /* it has no resources to look for */
    if (token == NULL || strcmp(token, UNIT_TOKEN) != 0 || n_required > 0) {
        if (message != NULL)
            message(environment, ERROR, "logStatusError",
                    n_required > 0 ? "no intermediate variables" : "the token is another unit's");
        return NULL;
    }
    i = calloc(1, sizeof *i);
    if (i == NULL)
        return NULL;
    i->message = message;
    i->environment = environment;
    i->unit.allocate = calloc;
    i->unit.let_go = free;
    i->unit.log = say;
    i->unit.environment = i;
    if (unit_make(&i->unit) != OK) {
        free(i);
        return NULL;
    }
    return i;
}
EXPORT void *fmi3InstantiateModelExchange(void) { return NULL; }
EXPORT void *fmi3InstantiateScheduledExecution(void) { return NULL; }

EXPORT void fmi3FreeInstance(void *c)
{
    Instance *i = c;
    if (i == NULL)
        return;
    unit_free(&i->unit);
    free(i);
}

EXPORT int fmi3EnterInitializationMode(void *c, bool has_tolerance, double tolerance, double start,
                                       bool has_stop, double stop)
{
    (void)has_tolerance, (void)tolerance, (void)has_stop, (void)stop;
    return unit_enter(&((Instance *)c)->unit, start);
}
EXPORT int fmi3ExitInitializationMode(void *c)
{
    return unit_leave_initialisation(&((Instance *)c)->unit);
}
EXPORT int fmi3Terminate(void *c)
{
    ((Instance *)c)->unit.state->mode = TERMINATED;
    return OK;
}
EXPORT int fmi3Reset(void *c)
{
    unit_reset(&((Instance *)c)->unit);
    return OK;
}
EXPORT int fmi3DoStep(void *c, double time, double step, bool keep, bool *event, bool *terminate,
                      bool *early, double *last)
{
    int status = unit_step(&((Instance *)c)->unit, time, step);
    (void)keep;
    *event = *terminate = *early = false;
    *last = ((Instance *)c)->unit.state->time;
    return status;
}

#define GETTER(NAME, KIND, TYPE, FROM)                                                           \
    EXPORT int fmi3Get##NAME(void *c, const uint32_t vr[], size_t n, TYPE value[], size_t room)  \
    {                                                                                            \
        Unit *unit = &((Instance *)c)->unit;                                                     \
        size_t k, m, at = 0;                                                                     \
        if (unit_settle(unit) != OK)                                                             \
            return ERROR;                                                                        \
        for (k = 0; k < n; k++) {                                                                \
            const Variable *v;                                                                   \
            if (KIND == REAL && vr[k] == TIME_REFERENCE && at < room) {                          \
                value[at++] = (TYPE)unit->state->time;                                           \
                continue;                                                                        \
            }                                                                                    \
            v = unit_variable(unit, vr[k], KIND, 0);                                             \
            if (v == NULL || at + v->count > room)                                               \
                return v == NULL ? ERROR : unit_fail(unit, "too little room for values");        \
            for (m = 0; m < v->count; m++)                                                       \
                value[at++] = (TYPE)FROM(unit->state->values[v->first + m]);                     \
        }                                                                                        \
        return OK;                                                                               \
    }
#define SETTER(NAME, KIND, TYPE)                                                                 \
    EXPORT int fmi3Set##NAME(void *c, const uint32_t vr[], size_t n, const TYPE value[],         \
                             size_t n_values)                                                    \
    {                                                                                            \
        Unit *unit = &((Instance *)c)->unit;                                                     \
        size_t k, m, at = 0;                                                                     \
        for (k = 0; k < n; k++) {                                                                \
            const Variable *v = unit_variable(unit, vr[k], KIND, 1);                             \
            if (v == NULL || at + v->count > n_values)                                           \
                return v == NULL ? ERROR : unit_fail(unit, "too few values");                    \
            for (m = 0; m < v->count; m++)                                                       \
                unit->state->values[v->first + m] = (double)value[at++];                         \
        }                                                                                        \
        return OK;                                                                               \
    }
#define SAME(x) (x)
#define WHOLE(x) floor((x) + 0.5)
#define TRUTH(x) ((x) != 0.0)

GETTER(Float64, REAL, double, SAME)
GETTER(Int32, INTEGER, int32_t, WHOLE)
GETTER(Boolean, BOOLEAN, bool, TRUTH)
SETTER(Float64, REAL, double)
SETTER(Int32, INTEGER, int32_t)
SETTER(Boolean, BOOLEAN, bool)

EXPORT int fmi3GetFMUState(void *c, void **state)
{
    void *copy = unit_copy_state(&((Instance *)c)->unit, *state);
    if (copy == NULL)
        return unit_fail(&((Instance *)c)->unit, "no memory for a state");
    *state = copy;
    return OK;
}
EXPORT int fmi3SetFMUState(void *c, void *state)
{
    return unit_take_state(&((Instance *)c)->unit, state, STATE_SIZE + 16);
}
EXPORT int fmi3FreeFMUState(void *c, void **state)
{
    (void)c;
    if (state != NULL) {
        free(*state);
        *state = NULL;
    }
    return OK;
}
EXPORT int fmi3SerializedFMUStateSize(void *c, void *state, size_t *size)
{
    (void)c, (void)state;
    *size = STATE_SIZE + 16;
    return OK;
}
EXPORT int fmi3SerializeFMUState(void *c, void *state, uint8_t bytes[], size_t size)
{
    if (size < STATE_SIZE + 16)
        return unit_fail(&((Instance *)c)->unit, "too little room for a state");
    memcpy(bytes, state, STATE_SIZE + 16);
    return OK;
}
EXPORT int fmi3DeserializeFMUState(void *c, const uint8_t bytes[], size_t size, void **state)
{
    if (size != STATE_SIZE + 16)
        return unit_fail(&((Instance *)c)->unit, "a state of another size");
    if (*state == NULL)
        *state = calloc(1, size);
    if (*state == NULL)
        return unit_fail(&((Instance *)c)->unit, "no memory for a state");
    memcpy(*state, bytes, size);
    return OK;
}

/* Configuration has nothing to set; it may be entered and left. */
EXPORT int fmi3EnterConfigurationMode(void *c)
{
    (void)c;
    return OK;
}
EXPORT int fmi3ExitConfigurationMode(void *c)
{
    (void)c;
    return OK;
}

/* Of model exchange, scheduled execution, clocks, other types: never called on such a unit. */
#define REFUSED(NAME)                                                                            \
    EXPORT int fmi3##NAME(void *c)                                                               \
    {                                                                                            \
        return unit_fail(&((Instance *)c)->unit, "fmi3" #NAME " is not for this unit");          \
    }
REFUSED(EnterEventMode) REFUSED(EnterStepMode) REFUSED(GetOutputDerivatives)
REFUSED(GetFloat32) REFUSED(GetInt8) REFUSED(GetUInt8) REFUSED(GetInt16) REFUSED(GetUInt16)
REFUSED(GetUInt32) REFUSED(GetInt64) REFUSED(GetUInt64) REFUSED(GetString) REFUSED(GetBinary)
REFUSED(GetClock) REFUSED(SetFloat32) REFUSED(SetInt8) REFUSED(SetUInt8) REFUSED(SetInt16)
REFUSED(SetUInt16) REFUSED(SetUInt32) REFUSED(SetInt64) REFUSED(SetUInt64) REFUSED(SetString)
REFUSED(SetBinary) REFUSED(SetClock) REFUSED(GetNumberOfVariableDependencies)
REFUSED(GetVariableDependencies) REFUSED(GetDirectionalDerivative) REFUSED(GetAdjointDerivative)
REFUSED(GetIntervalDecimal) REFUSED(GetIntervalFraction) REFUSED(GetShiftDecimal)
REFUSED(GetShiftFraction) REFUSED(SetIntervalDecimal) REFUSED(SetIntervalFraction)
REFUSED(SetShiftDecimal) REFUSED(SetShiftFraction) REFUSED(EvaluateDiscreteStates)
REFUSED(UpdateDiscreteStates) REFUSED(EnterContinuousTimeMode) REFUSED(CompletedIntegratorStep)
REFUSED(SetTime) REFUSED(SetContinuousStates) REFUSED(GetContinuousStateDerivatives)
REFUSED(GetEventIndicators) REFUSED(GetContinuousStates) REFUSED(GetNominalsOfContinuousStates)
REFUSED(GetNumberOfEventIndicators) REFUSED(GetNumberOfContinuousStates)
REFUSED(ActivateModelPartition)
