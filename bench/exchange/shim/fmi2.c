/* The functions of FMI 2.0 for co-simulation: all 34 of them. */
#include "unit.h"

typedef struct {
    void (*logger)(void *, const char *, int, const char *, const char *, ...);
    void *(*allocate)(size_t, size_t);
    void (*let_go)(void *);
    void (*finished)(void *, int);
    void *environment;
} Callbacks;

typedef struct {
    Unit unit;
    Callbacks callbacks;
    char name[64];
} Instance;

static void say(void *instance, int status, const char *message)
{
    Instance *i = instance;
    if (i->callbacks.logger != NULL)
        i->callbacks.logger(i->callbacks.environment, i->name, status, "logStatusError", message);
}

EXPORT const char *fmi2GetTypesPlatform(void) { return "default"; }
EXPORT const char *fmi2GetVersion(void) { return "2.0"; }
EXPORT int fmi2SetDebugLogging(void *c, int on, size_t n, const char *const categories[])
{
    (void)c, (void)on, (void)n, (void)categories;
    return OK;
}

EXPORT void *fmi2Instantiate(const char *name, int type, const char *guid, const char *resources,
                             const Callbacks *callbacks, int visible, int logging)
{
    Instance *i;
    void *(*allocate)(size_t, size_t);
    (void)resources, (void)visible, (void)logging; /* it has no resources to look for */
    if (callbacks == NULL)
        return NULL;
    allocate = callbacks->allocate != NULL ? callbacks->allocate : calloc;
    if (type != 1 || guid == NULL || strcmp(guid, UNIT_TOKEN) != 0) {
        if (callbacks->logger != NULL)
            callbacks->logger(callbacks->environment, name, ERROR, "logStatusError",
                              type != 1 ? "co-simulation alone" : "the guid is another unit's");
        return NULL;
    }
    i = allocate(1, sizeof *i);
    if (i == NULL)
        return NULL;
    memset(i, 0, sizeof *i);
    i->callbacks = *callbacks;
    strncpy(i->name, name != NULL ? name : "", sizeof i->name - 1);
    i->unit.allocate = allocate;
    i->unit.let_go = callbacks->let_go != NULL && callbacks->allocate != NULL ? callbacks->let_go : free;
    i->unit.log = say;
    i->unit.environment = i;
    if (unit_make(&i->unit) != OK) {
        i->unit.let_go(i);
        return NULL;
    }
    return i;
}

EXPORT void fmi2FreeInstance(void *c)
{
    Instance *i = c;
    if (i == NULL)
        return;
    unit_free(&i->unit);
    i->unit.let_go(i);
}

EXPORT int fmi2SetupExperiment(void *c, int has_tolerance, double tolerance, double start,
                               int has_stop, double stop)
{
    Instance *i = c;
    (void)has_tolerance, (void)tolerance, (void)has_stop, (void)stop;
    if (start != 0.0)
        return unit_fail(&i->unit, "the experiment starts at time 0");
    return OK;
}
EXPORT int fmi2EnterInitializationMode(void *c) { return unit_enter(&((Instance *)c)->unit, 0.0); }
EXPORT int fmi2ExitInitializationMode(void *c)
{
    return unit_leave_initialisation(&((Instance *)c)->unit);
}
EXPORT int fmi2Terminate(void *c)
{
    ((Instance *)c)->unit.state->mode = TERMINATED;
    return OK;
}
EXPORT int fmi2Reset(void *c)
{
    unit_reset(&((Instance *)c)->unit);
    return OK;
}

#define GETTER(NAME, KIND, TYPE, FROM)                                                           \
    EXPORT int fmi2Get##NAME(void *c, const unsigned vr[], size_t n, TYPE value[])               \
    {                                                                                            \
        Unit *unit = &((Instance *)c)->unit;                                                     \
        size_t k;                                                                                \
        if (unit_settle(unit) != OK)                                                             \
            return ERROR;                                                                        \
        for (k = 0; k < n; k++) {                                                                \
            const Variable *v = unit_variable(unit, vr[k], KIND, 0);                             \
            if (v == NULL)                                                                       \
                return ERROR;                                                                    \
            value[k] = (TYPE)FROM(unit->state->values[v->first]);                                \
        }                                                                                        \
        return OK;                                                                               \
    }
#define SETTER(NAME, KIND, TYPE)                                                                 \
    EXPORT int fmi2Set##NAME(void *c, const unsigned vr[], size_t n, const TYPE value[])         \
    {                                                                                            \
        Unit *unit = &((Instance *)c)->unit;                                                     \
        size_t k;                                                                                \
        for (k = 0; k < n; k++) {                                                                \
            const Variable *v = unit_variable(unit, vr[k], KIND, 1);                             \
            if (v == NULL)                                                                       \
                return ERROR;                                                                    \
            unit->state->values[v->first] = (double)value[k];                                    \
        }                                                                                        \
        return OK;                                                                               \
    }
#define SAME(x) (x)
#define WHOLE(x) floor((x) + 0.5)
#define TRUTH(x) ((x) != 0.0)

GETTER(Real, REAL, double, SAME)
GETTER(Integer, INTEGER, int, WHOLE)
GETTER(Boolean, BOOLEAN, int, TRUTH)
SETTER(Real, REAL, double)
SETTER(Integer, INTEGER, int)
SETTER(Boolean, BOOLEAN, int)

EXPORT int fmi2GetString(void *c, const unsigned vr[], size_t n, const char *value[])
{
    (void)vr, (void)value;
    return n == 0 ? OK : unit_fail(&((Instance *)c)->unit, "it has no texts");
}
EXPORT int fmi2SetString(void *c, const unsigned vr[], size_t n, const char *const value[])
{
    (void)vr, (void)value;
    return n == 0 ? OK : unit_fail(&((Instance *)c)->unit, "it has no texts");
}

EXPORT int fmi2GetFMUstate(void *c, void **state)
{
    void *copy = unit_copy_state(&((Instance *)c)->unit, *state);
    if (copy == NULL)
        return unit_fail(&((Instance *)c)->unit, "no memory for a state");
    *state = copy;
    return OK;
}
EXPORT int fmi2SetFMUstate(void *c, void *state)
{
    return unit_take_state(&((Instance *)c)->unit, state, STATE_SIZE + 16);
}
EXPORT int fmi2FreeFMUstate(void *c, void **state)
{
    if (state != NULL && *state != NULL)
        ((Instance *)c)->unit.let_go(*state);
    if (state != NULL)
        *state = NULL;
    return OK;
}
EXPORT int fmi2SerializedFMUstateSize(void *c, void *state, size_t *size)
{
    (void)c, (void)state;
    *size = STATE_SIZE + 16;
    return OK;
}
EXPORT int fmi2SerializeFMUstate(void *c, void *state, char bytes[], size_t size)
{
    if (size < STATE_SIZE + 16)
        return unit_fail(&((Instance *)c)->unit, "too little room for a state");
    memcpy(bytes, state, STATE_SIZE + 16);
    return OK;
}
EXPORT int fmi2DeSerializeFMUstate(void *c, const char bytes[], size_t size, void **state)
{
    Unit *unit = &((Instance *)c)->unit;
    if (size != STATE_SIZE + 16)
        return unit_fail(unit, "a state of another size");
    if (*state == NULL)
        *state = unit->allocate(1, size);
    if (*state == NULL)
        return unit_fail(unit, "no memory for a state");
    memcpy(*state, bytes, size);
    return OK;
}

EXPORT int fmi2DoStep(void *c, double time, double step, int keep)
{
    (void)keep;
    return unit_step(&((Instance *)c)->unit, time, step);
}
EXPORT int fmi2CancelStep(void *c) { return unit_fail(&((Instance *)c)->unit, "no step is pending"); }

#define REFUSED(SIGNATURE, REASON)                                                               \
    EXPORT int SIGNATURE { return unit_fail(&((Instance *)c)->unit, REASON); }
/* their other arguments are never looked at */
REFUSED(fmi2GetDirectionalDerivative(void *c), "no derivatives")
REFUSED(fmi2SetRealInputDerivatives(void *c), "no derivatives")
REFUSED(fmi2GetRealOutputDerivatives(void *c), "no derivatives")
EXPORT int fmi2GetStatus(void *c, int kind, int *value)
{
    (void)kind;
    *value = ((Instance *)c)->unit.state->mode == FAILED ? ERROR : OK;
    return OK;
}
EXPORT int fmi2GetRealStatus(void *c, int kind, double *value)
{
    (void)kind;
    *value = ((Instance *)c)->unit.state->time;
    return OK;
}
EXPORT int fmi2GetIntegerStatus(void *c, int kind, int *value)
{
    (void)c, (void)kind, (void)value;
    return DISCARD;
}
EXPORT int fmi2GetBooleanStatus(void *c, int kind, int *value)
{
    (void)c, (void)kind;
    *value = 0; /* terminated */
    return OK;
}
EXPORT int fmi2GetStringStatus(void *c, int kind, const char **value)
{
    (void)c, (void)kind, (void)value;
    return DISCARD;
}
