/* Codes of standard terminologies, each with where it was verified; what is not here has a local code, and the bundle says
 * so. No code is made up, none taken from memory. */
#ifndef SL_REPORT_FHIR_CODES_H
#define SL_REPORT_FHIR_CODES_H

#include "reading/reading.h"

#include <stddef.h>

typedef struct sl_code_of {
    const char *system, *code, *display;
} sl_code_of;

#define SL_LOINC "http://loinc.org"
#define SL_SNOMED "http://snomed.info/sct"
#define SL_DCM "http://dicom.nema.org/resources/ontology/DCM"
#define SL_UCUM "http://unitsofmeasure.org"
#define SL_LOCAL "urn:strandline:findings" /* our own code system, carried in the bundle */

/* LOINC 24630-6: published tables of LOINC display names ("Chest US", "US Chest"), check digit recomputed in the tests. */
static const sl_code_of sl_fhir_us_chest = {SL_LOINC, "24630-6", "US Chest"};
/* The part for radiology: HL7's US Core and R4 DiagnosticReport examples. */
static const sl_code_of sl_fhir_radiology = {SL_LOINC, "LP29684-5", "Radiology"};
/* FHIR R4, observation category value set. */
static const sl_code_of sl_fhir_imaging = {"http://terminology.hl7.org/CodeSystem/observation-category", "imaging", "Imaging"};
/* DICOM PS3.16, context group 29 (acquisition modality). */
static const sl_code_of sl_fhir_ultrasound = {SL_DCM, "US", "Ultrasound"};
/* DICOM PS3.16, anatomy context groups, as in the table of the 2025 edition; Verhoeff digits recomputed in the tests. */
static const sl_code_of sl_fhir_right_lung = {SL_SNOMED, "3341006", "Right lung"};
static const sl_code_of sl_fhir_left_lung = {SL_SNOMED, "44029006", "Left lung"};
static const sl_code_of sl_fhir_effusion = {SL_SNOMED, "60046008", "Pleural effusion"};
/* FHIR R4, v3-ActReason: data of no real person. */
static const sl_code_of sl_fhir_test_data = {"http://terminology.hl7.org/CodeSystem/v3-ActReason", "HTEST", "test health data"};
/* FHIR R4, data-absent-reason value set. */
static const sl_code_of sl_fhir_unknown = {"http://terminology.hl7.org/CodeSystem/data-absent-reason", "unknown", "Unknown"};
/* FHIR R4, provenance-participant-type value set. */
static const sl_code_of sl_fhir_assembler = {"http://terminology.hl7.org/CodeSystem/provenance-participant-type", "assembler", "Assembler"};
static const sl_code_of sl_fhir_attester = {"http://terminology.hl7.org/CodeSystem/provenance-participant-type", "attester", "Attester"};

/* The standard code of a finding, or NULL. */
static inline const sl_code_of *sl_fhir_finding(sl_code code)
{
    return code == SL_EFFUSION ? &sl_fhir_effusion : NULL;
}

#endif
