BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE archers (
	id INTEGER NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	CONSTRAINT pk_archers PRIMARY KEY (id), 
	CONSTRAINT uq_archers_name UNIQUE (name)
);
INSERT INTO "archers" VALUES(1,'Lane 2');
CREATE TABLE arrows (
	id INTEGER NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	CONSTRAINT pk_arrows PRIMARY KEY (id), 
	CONSTRAINT uq_arrows_name UNIQUE (name)
);
INSERT INTO "arrows" VALUES(1,'22 g');
CREATE TABLE bows (
	id INTEGER NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	CONSTRAINT pk_bows PRIMARY KEY (id), 
	CONSTRAINT uq_bows_name UNIQUE (name)
);
INSERT INTO "bows" VALUES(1,'Compound');
CREATE TABLE changes (
	id INTEGER NOT NULL, 
	count INTEGER NOT NULL, 
	CONSTRAINT pk_changes PRIMARY KEY (id)
);
INSERT INTO "changes" VALUES(1,2);
CREATE TABLE recordings (
	id INTEGER NOT NULL, 
	identity VARCHAR(80) NOT NULL, 
	sha256 VARCHAR(64), 
	path VARCHAR NOT NULL, 
	started_unix_s FLOAT NOT NULL, 
	started_from VARCHAR(16) NOT NULL, 
	state VARCHAR(16) NOT NULL, 
	rate_hz FLOAT, 
	facts JSON NOT NULL, 
	CONSTRAINT pk_recordings PRIMARY KEY (id), 
	CONSTRAINT uq_recordings_identity UNIQUE (identity)
);
INSERT INTO "recordings" VALUES(1,'id:winter-1',NULL,'recordings/one.qhr',1763200000.0,'clock','growing',4000.0,'{}');
CREATE TABLE rejected (
	id INTEGER NOT NULL, 
	recording_id INTEGER NOT NULL, 
	time_s FLOAT NOT NULL, 
	unix_s FLOAT NOT NULL, 
	reason VARCHAR(16) NOT NULL, 
	text VARCHAR NOT NULL, 
	CONSTRAINT pk_rejected PRIMARY KEY (id), 
	CONSTRAINT fk_rejected_recording_id_recordings FOREIGN KEY(recording_id) REFERENCES recordings (id) ON DELETE CASCADE, 
	CONSTRAINT uq_rejected_recording_id_time_s_reason UNIQUE (recording_id, time_s, reason)
);
CREATE TABLE setups (
	id INTEGER NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_setups PRIMARY KEY (id), 
	CONSTRAINT uq_setups_sha256 UNIQUE (sha256)
);
INSERT INTO "setups" VALUES(1,'c30a1d8049da99cc341550a1b08231b7702ea947fc1ae07b8d0942dc1d42aa96','{"archer": {"name": "Lane 2"}, "bow": {"name": "Compound"}, "arrow": {"name": "22 g"}}');
CREATE TABLE shots (
	id INTEGER NOT NULL, 
	recording_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	setup_id INTEGER NOT NULL, 
	archer_id INTEGER NOT NULL, 
	bow_id INTEGER NOT NULL, 
	arrow_id INTEGER NOT NULL, 
	unix_s FLOAT NOT NULL, 
	day VARCHAR(10) NOT NULL, 
	segment INTEGER NOT NULL, 
	departure_from VARCHAR(16) NOT NULL, 
	flags JSON NOT NULL, 
	notes JSON NOT NULL, 
	contract JSON NOT NULL, 
	software VARCHAR(80) NOT NULL, 
	release_s FLOAT, 
	release_sigma_s FLOAT, 
	departure_s FLOAT, 
	departure_sigma_s FLOAT, 
	time_on_string_s FLOAT, 
	time_on_string_sigma_s FLOAT, 
	rest_clear_s FLOAT, 
	pointing_right_mm FLOAT, 
	pointing_right_sigma_mm FLOAT, 
	pointing_up_mm FLOAT, 
	pointing_up_sigma_mm FLOAT, 
	hold_duration_s FLOAT, 
	mount_mode_hz FLOAT, 
	mount_damping_ratio FLOAT, 
	push_misfit FLOAT, 
	rotation_cant_deg FLOAT, 
	rotation_sigma_cant_deg FLOAT, 
	rotation_pitch_deg FLOAT, 
	rotation_sigma_pitch_deg FLOAT, 
	rotation_yaw_deg FLOAT, 
	rotation_sigma_yaw_deg FLOAT, 
	rate_cant_deg_s FLOAT, 
	rate_sigma_cant_deg_s FLOAT, 
	rate_pitch_deg_s FLOAT, 
	rate_sigma_pitch_deg_s FLOAT, 
	rate_yaw_deg_s FLOAT, 
	rate_sigma_yaw_deg_s FLOAT, 
	carried_in_cant_deg FLOAT, 
	carried_in_sigma_cant_deg FLOAT, 
	carried_in_pitch_deg FLOAT, 
	carried_in_sigma_pitch_deg FLOAT, 
	carried_in_yaw_deg FLOAT, 
	carried_in_sigma_yaw_deg FLOAT, 
	struck_cant_deg FLOAT, 
	struck_sigma_cant_deg FLOAT, 
	struck_pitch_deg FLOAT, 
	struck_sigma_pitch_deg FLOAT, 
	struck_yaw_deg FLOAT, 
	struck_sigma_yaw_deg FLOAT, 
	pressed_cant_deg FLOAT, 
	pressed_sigma_cant_deg FLOAT, 
	pressed_pitch_deg FLOAT, 
	pressed_sigma_pitch_deg FLOAT, 
	pressed_yaw_deg FLOAT, 
	pressed_sigma_yaw_deg FLOAT, 
	peak_rate_cant_deg_s FLOAT, 
	peak_rate_pitch_deg_s FLOAT, 
	peak_rate_yaw_deg_s FLOAT, 
	mean_torque_cant_nm FLOAT, 
	mean_torque_sigma_cant_nm FLOAT, 
	mean_torque_pitch_nm FLOAT, 
	mean_torque_sigma_pitch_nm FLOAT, 
	mean_torque_yaw_nm FLOAT, 
	mean_torque_sigma_yaw_nm FLOAT, 
	peak_torque_cant_nm FLOAT, 
	peak_torque_sigma_cant_nm FLOAT, 
	peak_torque_pitch_nm FLOAT, 
	peak_torque_sigma_pitch_nm FLOAT, 
	peak_torque_yaw_nm FLOAT, 
	peak_torque_sigma_yaw_nm FLOAT, 
	angular_impulse_cant_nms FLOAT, 
	angular_impulse_sigma_cant_nms FLOAT, 
	angular_impulse_pitch_nms FLOAT, 
	angular_impulse_sigma_pitch_nms FLOAT, 
	angular_impulse_yaw_nms FLOAT, 
	angular_impulse_sigma_yaw_nms FLOAT, 
	hold_rate_rms_cant_deg_s FLOAT, 
	hold_rate_rms_pitch_deg_s FLOAT, 
	hold_rate_rms_yaw_deg_s FLOAT, 
	tremor_rms_cant_deg_s FLOAT, 
	tremor_rms_pitch_deg_s FLOAT, 
	tremor_rms_yaw_deg_s FLOAT, 
	drift_cant_deg_s FLOAT, 
	drift_pitch_deg_s FLOAT, 
	drift_yaw_deg_s FLOAT, 
	hand_stiffness_cant_nm_rad FLOAT, 
	hand_stiffness_sigma_cant_nm_rad FLOAT, 
	hand_stiffness_pitch_nm_rad FLOAT, 
	hand_stiffness_sigma_pitch_nm_rad FLOAT, 
	hand_stiffness_yaw_nm_rad FLOAT, 
	hand_stiffness_sigma_yaw_nm_rad FLOAT, 
	damping_ratio_cant FLOAT, 
	damping_ratio_pitch FLOAT, 
	damping_ratio_yaw FLOAT, 
	CONSTRAINT pk_shots PRIMARY KEY (id), 
	CONSTRAINT fk_shots_archer_id_archers FOREIGN KEY(archer_id) REFERENCES archers (id), 
	CONSTRAINT fk_shots_arrow_id_arrows FOREIGN KEY(arrow_id) REFERENCES arrows (id), 
	CONSTRAINT fk_shots_bow_id_bows FOREIGN KEY(bow_id) REFERENCES bows (id), 
	CONSTRAINT fk_shots_recording_id_recordings FOREIGN KEY(recording_id) REFERENCES recordings (id) ON DELETE CASCADE, 
	CONSTRAINT fk_shots_setup_id_setups FOREIGN KEY(setup_id) REFERENCES setups (id), 
	CONSTRAINT uq_shots_recording_id_number UNIQUE (recording_id, number)
);
INSERT INTO "shots" VALUES(1,1,1,1,1,1,1,1763200030.0148,'2025-11-15',0,'shock','[{"measure": "pointing_shift_right_mm", "value": -1.5, "limit": 20.0, "unit": "mm", "sigma": 0.2, "verdict": "over", "text": "far right"}]','["no rest stated"]','{"number": 1, "release_s": 30.0, "release_sigma_s": 0.0002, "departure_s": 30.0148, "departure_sigma_s": 0.0001, "departure_from": "shock", "time_on_string_s": 0.0148, "time_on_string_sigma_s": 0.00022, "rest_clear_s": null, "push_misfit": null, "at_departure": {"rotation_deg": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "rotation_sigma_deg": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "rate_deg_s": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "rate_sigma_deg_s": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "parts_deg": {"carried_in": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "struck": {"cant": null, "pitch": null, "yaw": null}, "pressed": {"cant": null, "pitch": null, "yaw": null}}, "parts_sigma_deg": {"carried_in": {"cant": null, "pitch": null, "yaw": null}, "struck": {"cant": null, "pitch": null, "yaw": null}, "pressed": {"cant": null, "pitch": null, "yaw": null}}, "pointing_shift_mm": {"right": -1.5, "up": 0.5}, "pointing_shift_sigma_mm": {"right": 0.2, "up": 0.2}}, "budget": [], "after_release": [], "window": {"peak_rate_deg_s": {"cant": null, "pitch": null, "yaw": null}, "mean_torque_nm": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "mean_torque_sigma_nm": {"cant": null, "pitch": null, "yaw": null}, "peak_torque_nm": {"cant": null, "pitch": null, "yaw": null}, "peak_torque_sigma_nm": {"cant": null, "pitch": null, "yaw": null}, "angular_impulse_nms": {"cant": null, "pitch": null, "yaw": null}, "angular_impulse_sigma_nms": {"cant": null, "pitch": null, "yaw": null}}, "hold": {"duration_s": 3.2, "rate_rms_deg_s": {"cant": null, "pitch": null, "yaw": null}, "tremor_rms_deg_s": {"cant": null, "pitch": null, "yaw": null}, "drift_deg_s": {"cant": null, "pitch": null, "yaw": null}}, "follow_through": {"hand_stiffness_nm_rad": {"cant": null, "pitch": null, "yaw": null}, "hand_stiffness_sigma_nm_rad": {"cant": null, "pitch": null, "yaw": null}, "damping_ratio": {"cant": 0.01, "pitch": null, "yaw": 0.1}, "mount_mode_hz": null, "mount_damping_ratio": null}, "flags": [{"measure": "pointing_shift_right_mm", "value": -1.5, "limit": 20.0, "unit": "mm", "sigma": 0.2, "verdict": "over", "text": "far right"}], "notes": ["no rest stated"]}','quiethand test',30.0,0.0002,30.0148,0.0001,0.0148,0.00022,NULL,-1.5,0.2,0.5,0.2,3.2,NULL,NULL,NULL,0.01,0.01,NULL,NULL,0.1,0.1,0.01,0.01,NULL,NULL,0.1,0.1,0.01,NULL,NULL,NULL,0.1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,0.01,NULL,NULL,NULL,0.1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,0.01,NULL,0.1);
CREATE TABLE traces (
	shot_id INTEGER NOT NULL, 
	name VARCHAR(32) NOT NULL, 
	unit VARCHAR(16) NOT NULL, 
	rate_hz FLOAT, 
	rows INTEGER NOT NULL, 
	columns INTEGER NOT NULL, 
	data BLOB NOT NULL, 
	CONSTRAINT pk_traces PRIMARY KEY (shot_id, name), 
	CONSTRAINT fk_traces_shot_id_shots FOREIGN KEY(shot_id) REFERENCES shots (id) ON DELETE CASCADE
);
CREATE INDEX ix_recordings_sha256 ON recordings (sha256);
CREATE INDEX ix_rejected_unix_s ON rejected (unix_s);
CREATE INDEX ix_shots_archer_id_shots_bow_id_shots_arrow_id_shots_unix_s ON shots (archer_id, bow_id, arrow_id, unix_s);
CREATE INDEX ix_shots_day ON shots (day);
CREATE INDEX ix_shots_setup_id ON shots (setup_id);
CREATE INDEX ix_shots_unix_s ON shots (unix_s);
COMMIT;
